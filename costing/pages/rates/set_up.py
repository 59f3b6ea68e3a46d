"""What costs and prices rest on, in one list: what is set, what is missing, and where it is set."""

from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from costing.pages.rules import GET, LOOK
from costing.queries.rates.set_up import SetUp, set_up
from studio.web.pages.ruled import page

RATES = {
    "labor_hour": "An hour of labor",
    "overhead_batch": "Overhead of a batch",
    "overhead_labor_hour": "Overhead of an hour of labor",
    "labor_mix_hour": "An hour of weighing and mixing",
    "labor_cut_hour": "An hour of cutting",
    "labor_wrap_hour": "An hour of wrapping",
    "overhead_rack_week": "A week of a curing rack",
    "energy_kwh": "A kilowatt-hour",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One thing that is set: what it is for, what there is of it, and its page.

    What a studio does without is not needed until it is there.
    """

    name: str
    why: str
    said: str
    page: str
    is_missing: bool = False
    is_needed: bool = True


@page(LOOK, methods=GET)
def set_up_page(request: HttpRequest) -> HttpResponse:
    """All of it in the order in which it is needed."""
    found = set_up(on=timezone.localdate())
    parts = _parts(found)
    missing = [part for part in parts if part.is_missing]
    return render(request, "costing/rates/set_up.html", {"parts": parts, "missing": missing})


def _parts(found: SetUp) -> list[Part]:
    return [*_what_a_bar_costs(found), *_what_is_asked(found)]


def _what_a_bar_costs(found: SetUp) -> list[Part]:
    zero = [RATES[kind].lower() for kind in found.missing_rates]
    return [
        Part(
            name="Rates",
            why="What an hour of labor and the overhead cost, each from a day on.",
            said=f"Counts as nothing: {', '.join(zero)}." if zero else "All are set.",
            page="rates-page",
            is_missing=bool(zero),
        ),
        Part(
            name="Labor standards",
            why="How long a batch and a bar are expected to take.",
            said=_count(found.standards, "in force") or "A recipe's own minutes count.",
            page="standards-page",
            is_needed=bool(found.standards),
        ),
        Part(
            name="Packing",
            why="What a bar is packed with, for the shop and for shipping.",
            said=_count(found.packings, "in use") or "Packing costs nothing yet.",
            page="packings-page",
            is_missing=not found.packings,
        ),
    ]


def _what_is_asked(found: SetUp) -> list[Part]:
    return [
        Part(
            name="Tiers",
            why="Who is sold to at which margin: the steps of the price ladder.",
            said=_count(found.tiers, "in use") or "There is none: nothing can be priced.",
            page="tiers-page",
            is_missing=not found.tiers,
        ),
        Part(
            name="Fees",
            why="What a card or a market takes of a sale.",
            said=_count(found.fees, "in force") or "None.",
            page="fees-page",
            is_needed=bool(found.fees),
        ),
        Part(
            name="Products",
            why="A recipe's bar, packed in a certain way, that has prices.",
            said=_count(found.products, "sold") or "There is none: nothing can be quoted.",
            page="prices",
            is_missing=not found.products,
        ),
    ]


def _count(number: int, word: str) -> str:
    return f"{number} {word}." if number else ""
