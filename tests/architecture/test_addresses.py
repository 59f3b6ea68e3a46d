"""Each address has a name of its own: of two, the later would be led to by mistake."""

from collections import Counter

from django.urls import URLPattern, URLResolver, get_resolver

ADMIN = "admin/"


def named(patterns, above=""):
    for pattern in patterns:
        address = above + str(pattern.pattern)
        if isinstance(pattern, URLResolver) and address != ADMIN:
            yield from named(pattern.url_patterns, address)
        elif isinstance(pattern, URLPattern) and pattern.name:
            yield pattern.name, address


def test_no_two_addresses_share_a_name():
    found = set(named(get_resolver().url_patterns))
    assert len(found) > 200
    counted = Counter(name for name, _ in found)
    shared = {
        name: sorted(address for other, address in found if other == name)
        for name, times in counted.items()
        if times > 1
    }
    assert not shared
