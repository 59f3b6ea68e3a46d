"""The places of the studio in its frame: each app adds its own, the frame shows those that exist.

    from studio.web.pages.places import PLACES, Place

    PLACES.register(Place("shelf", "Shelf", url_name="shelf", order=20, daily=True))

in an app's `ready()`. A place is shown once its address has a name, to those who may open it.
"""

from dataclasses import dataclass
from operator import attrgetter
from typing import Any

from django.urls import NoReverseMatch, reverse

from studio.foundation.registry import Registry
from studio.foundation.roles import Capability, capabilities_of
from studio.web.permissions import Rule


@dataclass(frozen=True, slots=True)
class Place:
    """A part of the studio. Those that are `daily` stand in the bar at the bottom of a phone."""

    name: str
    label: str
    url_name: str
    order: int = 100
    daily: bool = False
    rule: Rule = Capability.READ
    #: Names of other addresses that belong to it, below which it is marked too.
    also: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Shown:
    """A place as the frame draws it."""

    name: str
    label: str
    href: str
    daily: bool
    here: bool


PLACES = Registry[Place](order=attrgetter("order", "name"))


def places_for(user: Any, path: str, *, here: str = "") -> list[Shown]:
    """The places this person may open, in their order.

    `here` names the present one; without it, it is the one with an address that is the longest
    beginning of `path`.
    """
    able = capabilities_of(user)
    open_to = [
        (place, href)
        for place in PLACES
        if (href := page_address(place.url_name)) and _needed(place.rule) <= able
    ]
    if not here:
        above = [
            (len(each), place.name)
            for place, href in open_to
            for each in (href, *map(page_address, place.also))
            if each and _is_below(path, each)
        ]
        here = max(above, default=(0, ""))[1]
    return [
        Shown(place.name, place.label, href, place.daily, place.name == here)
        for place, href in open_to
    ]


def _needed(rule: Rule) -> frozenset[Capability]:
    return frozenset({rule} if isinstance(rule, Capability) else rule)


def page_address(name: str, *args: Any) -> str:
    """The address of the page called `name`, or "" while no app has one."""
    try:
        return reverse(name, args=args)
    except NoReverseMatch:
        return ""


def _is_below(path: str, href: str) -> bool:
    return path == href if href == "/" else path.startswith(href)
