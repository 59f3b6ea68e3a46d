"""Each address has a name of its own: of two, the later would be led to by mistake.

And no word of an address stands where a code may stand, unless no record can have that code.
"""

import re
from collections import Counter

from django.apps import apps
from django.db.models import SlugField
from django.urls import URLPattern, URLResolver, get_resolver

from studio.foundation.model_fields import RESERVED_CODES, CodeField

ADMIN = "admin/"
#: What an address takes in one part of it, as Django's two grammars write it: <slug:code> and
#: (?P<code>[^/.]+).
TAKEN_IN = re.compile(r"<(?:(?P<kind>\w+):)?(?P<plain>\w+)>|\(\?P<(?P<name>\w+)>[^()]*\)")
#: What is taken in and is no code of a record: numbers of rows, tables, and the rest of an address.
NO_CODES = frozenset({"int", "pk", "id", "table", "rest"})


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


def parts_of(address):
    """An address in parts: words, "{code}" for a code, and "{}" for what else is taken in."""

    def shown(taken):
        what = {taken["kind"], taken["plain"], taken["name"]}
        return "{}" if what & NO_CODES else "{code}"

    return TAKEN_IN.sub(shown, address.replace("^", "")).strip("/$").split("/")


def words_beside_codes(addresses):
    """Words that stand where, after the same beginning, another address takes in a code."""
    split = [parts_of(address) for address in addresses]
    before_codes = {
        tuple(parts[:place])
        for parts in split
        for place, part in enumerate(parts)
        if part == "{code}"
    }
    return {
        parts[place]
        for parts in split
        for place in range(len(parts))
        if tuple(parts[:place]) in before_codes and re.fullmatch(r"[-\w]+", parts[place])
    }


def test_a_word_beside_a_code_is_found():
    beside = ["a/<slug:code>/", "a/new/", "a/b.csv", "^api/(?P<code>[^/.]+)/$", "^api/all/do/$"]
    assert words_beside_codes(beside) == {"new", "all"}
    assert words_beside_codes(["a/<int:number>/", "a/new/", "b/<slug:code>/new/"]) == set()


def test_no_record_has_the_code_of_a_word_beside_codes():
    found = words_beside_codes(address for _, address in named(get_resolver().url_patterns))
    assert found == RESERVED_CODES


def test_every_code_of_a_record_refuses_these_words():
    codes = [
        field
        for model in apps.get_models()
        for field in model._meta.get_fields()
        if field.name == "code" and isinstance(field, SlugField)
    ]
    assert len(codes) > 20
    assert [field for field in codes if not isinstance(field, CodeField)] == []
