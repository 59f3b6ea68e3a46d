"""Ways on: what a fault that stands on a page leads to, by its code; apps make them known."""

from collections.abc import Callable
from dataclasses import dataclass
from operator import attrgetter

from django.utils.html import format_html

from studio.foundation.errors import Fault
from studio.foundation.registry import Registry


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """Where a fault's cause is mended: the words of the link, and its address; "" for none."""

    code: str
    words: str
    address: Callable[[Fault], str]


WAYS = Registry[Way](name=attrgetter("code"))


def told_with_way(fault: Fault) -> str:
    """The fault's message, with a link to where it is mended if such a place is known."""
    way = WAYS.get(fault.code)
    address = way.address(fault) if way else ""
    if not way or not address:
        return fault.message
    return format_html('{} <a href="{}">{}</a>', fault.message, address, way.words)
