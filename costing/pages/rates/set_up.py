"""What costs and prices rest on, in one list; rates and fees since when, new and late ones."""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from costing.domain.rates.rates import ALWAYS
from costing.models.bar_cost.conversion import LateConversion
from costing.models.rates.rates import Fee, Rate
from costing.pages.dated import LOOK, SET, from_day, to_be_replaced
from costing.queries.bar_cost.late_rates import WaitingBatch, waiting_batches, waiting_rows
from costing.queries.rates.set_up import SetUp, fees_by_code, rates_by_kind, set_up, tiers_in_order
from costing.services.bar_cost.late_rates import post_late_rates
from costing.services.rates.rates import FeeDescription, RateDescription, save_fee, save_rate
from studio.foundation.local_words import written_money
from studio.foundation.units.writing import how_many
from studio.web.form_fields import DayFormField, MoneyFormField, ShareFormField
from studio.web.pages.forms import faults_on, form_page, see_other
from studio.web.pages.ruled import GET, page, who

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
    missing = [RATES[kind].lower() for kind in found.missing_rates]
    return [
        Part(
            name="Rates",
            why="What an hour of labor and the overhead cost, each from a day on.",
            said=f"Not known: {', '.join(missing)}. Enter 0 for what costs nothing."
            if missing
            else "All are set.",
            page="rates-page",
            is_missing=bool(missing),
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
            said=_count(found.packings, "in use") or "No packing is described yet.",
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


class RateForm(forms.Form):
    """A rate from a day on."""

    kind = forms.ChoiceField(label="What is paid for", choices=list(RATES.items()))
    amount = MoneyFormField(label="Costs")
    effective_from = from_day()


@page(LOOK, methods=GET)
def rates_page(request: HttpRequest) -> HttpResponse:
    """Every kind with what it costs now, what is to come, and what it was."""
    there = {dated.newest.kind: dated for dated in rates_by_kind(on=timezone.localdate())}
    rows = [
        {"kind": kind, "name": name, "dated": there.get(kind), "always": kind in _ALWAYS}
        for kind, name in RATES.items()
    ]
    missing = [row["name"] for row in rows if row["always"] and not _is_set(row["dated"])]
    waiting = waiting_rows().count()
    context = {"rows": rows, "missing": missing, "waiting": waiting}
    return render(request, "costing/rates/rates.html", context)


_ALWAYS = {kind.value for kind in ALWAYS}


def _is_set(dated: Any) -> bool:
    return dated is not None and dated.now is not None


@page(SET)
def rate_new(request: HttpRequest) -> HttpResponse:
    """Let a rate hold from a day on; one of the same day to come is replaced."""
    form = RateForm(request.POST or None, initial={"kind": request.GET.get("kind", "labor_hour")})
    if request.method == "POST" and form.is_valid():
        with faults_on(form):
            rate = _save(request, form.cleaned_data)
            words = f"{RATES[rate.kind]} costs {written_money(rate.amount)}"
            messages.success(request, f"{words} from {rate.effective_from} on.")
            return see_other(request, "rates-page")
    return form_page(request, "costing/rates/rate_new.html", {"form": form})


def _save(request: HttpRequest, given: dict[str, Any]) -> Rate:
    described = RateDescription(**given)
    there = Rate.objects.filter(kind=given["kind"])
    again = to_be_replaced(there, effective_from=given["effective_from"])
    return save_rate(described, row_id=again, by=who(request))


class FeeForm(forms.Form):
    """A fee from a day on; one that ends is followed by one of nothing."""

    name = forms.CharField(max_length=120, label="What takes it")
    code = forms.SlugField(
        max_length=40, label="Short code", help_text="The same as before to change it: card."
    )
    tier = forms.ChoiceField(required=False, label="On sales to")
    share = ShareFormField(required=False, label="Share of what is paid")
    fixed_per_sale = MoneyFormField(required=False, label="And for each sale")
    effective_from = from_day()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        tiers = [(tier.code, tier.name) for tier in tiers_in_order()]
        self.fields["tier"].choices = [("", "All tiers"), *tiers]  # type: ignore[attr-defined]


@page(LOOK, methods=GET)
def fees_page(request: HttpRequest) -> HttpResponse:
    """Every fee now, to come, and before."""
    found = fees_by_code(on=timezone.localdate())
    return render(request, "costing/rates/fees.html", {"found": found})


@page(SET)
def fee_new(request: HttpRequest) -> HttpResponse:
    """Let a fee hold from a day on; one of the same day to come is replaced."""
    asked = {name: request.GET.get(name, "") for name in ("name", "code", "tier")}
    form = FeeForm(request.POST or None, initial=asked)
    if request.method == "POST" and form.is_valid():
        with faults_on(form):
            fee = _save_fee(request, form.cleaned_data)
            messages.success(request, f"{fee.name} holds from {fee.effective_from} on.")
            return see_other(request, "fees-page")
    return form_page(request, "costing/rates/fee_new.html", {"form": form})


def _save_fee(request: HttpRequest, given: dict[str, Any]) -> Fee:
    tier = given["tier"] or None
    values = {**given, "tier": tier, "share": given["share"] or 0}
    described = FeeDescription(**{**values, "fixed_per_sale": given["fixed_per_sale"] or 0})
    there = Fee.objects.filter(code=given["code"], tier__code=tier)
    again = to_be_replaced(there, effective_from=given["effective_from"])
    return save_fee(described, row_id=again, by=who(request))


class SinceForm(forms.Form):
    """Which batches."""

    since = DayFormField(
        label="Batches poured from the day",
        help_text="Each takes the rates of the day of its pour.",
    )


@page(SET, once=True)
def late_rates_page(request: HttpRequest) -> HttpResponse:
    """Look at what would be entered on which batch, then enter it."""
    waiting = waiting_batches()
    ready = [each for each in waiting if each.can_be_posted]
    first = ready[0].poured_on if ready else timezone.localdate()
    form = SinceForm(request.POST or None, initial={"since": first})
    if request.method == "POST" and form.is_valid():
        made = post_late_rates(
            since=form.cleaned_data["since"], on=timezone.localdate(), by=who(request)
        )
        messages.success(request, _entered(made))
        return see_other(request, "late-rates-page")
    rows = [(each, _words(each)) for each in waiting]
    return form_page(
        request, "costing/rates/late_rates.html", {"form": form, "rows": rows, "ready": ready}
    )


def _entered(made: Collection[LateConversion]) -> str:
    """What went where, in words."""
    if not made:
        return "No batch since that day waits for a rate that is there."
    on_lots = written_money(sum(each.on_lot for each in made))
    told = f"{on_lots} is on what {how_many(len(made), 'batch', 'batches')} made"
    if expense := sum(each.variance + each.expensed for each in made):
        return f"{told}, and {written_money(expense)} is an expense of today."
    return f"{told}."


def _words(each: WaitingBatch) -> str:
    """The rates, and the minutes of labor, that it waits for all the same."""
    names = [RATES[kind.value] for kind in each.missed]
    return ", ".join([*names, "minutes of labor"] if each.untold else names).lower()
