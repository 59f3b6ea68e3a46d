"""Start here: the first steps of a new studio, each with what it is for and whether it is done.

Apps register their steps in `ready()`:

    from studio.web.pages.start import STEPS, Step

    STEPS.register(Step("materials", "First materials", why=..., done=any_material,
                  verb="Choose fats", pages=("first-fats-page",), order=20))

`done()` looks with one query; `pages` are names of addresses, the first that exists is used.
"""

from collections.abc import Callable
from dataclasses import dataclass
from operator import attrgetter

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from studio.foundation.registry import Registry
from studio.foundation.roles import Capability
from studio.web.pages.people.my_settings import studio_facts
from studio.web.pages.places import page_address
from studio.web.pages.ruled import GET, page


@dataclass(frozen=True, slots=True)
class Step:
    """One of the first steps."""

    name: str
    label: str
    why: str
    done: Callable[[], bool]
    verb: str
    pages: tuple[str, ...]
    order: int = 100


@dataclass(frozen=True, slots=True)
class Shown:
    """A step as the page draws it: done, next, or later."""

    step: Step
    done: bool
    next: bool
    href: str


STEPS = Registry[Step](order=attrgetter("order", "name"))


def steps() -> list[Shown]:
    """All steps in their order; the first that is not done is next. One query a step."""
    shown, is_next = [], True
    for step in STEPS:
        done = step.done()
        href = next((found for name in step.pages if (found := page_address(name))), "")
        shown.append(Shown(step, done, is_next and not done, href))
        is_next = is_next and done
    return shown


def _always() -> bool:
    return True


def register_settings_step() -> None:
    """What is set before the first start, shown to be looked over."""
    STEPS.register(
        Step(
            "settings",
            "Currency and units",
            why="The currency of the books cannot change once there are prices. Units are yours "
            "alone: you may type any, and see your own first.",
            done=_always,
            verb="Choose your units",
            pages=("settings",),
            order=10,
        )
    )


@page(Capability.READ, methods=GET)
def start(request: HttpRequest) -> HttpResponse:
    """What is done, what is next, and what the studio is set to."""
    shown = steps()
    left = sum(not step.done for step in shown)
    context = {"steps": shown, "left": left, "facts": studio_facts()}
    return render(request, "studio/start.html", context)
