"""The price list: what each product costs, what is asked for it, and what fell under its floor."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django import forms
from django.conf import settings
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from costing.models.prices.prices import Product, Tier
from costing.pages.dated import LOOK
from costing.queries.prices.margin_watch import Slip, watched
from costing.queries.prices.price_ladder import (
    LadderView,
    RungState,
    RungView,
    TierView,
    price_ladders,
)
from studio.foundation.money import format_money_input
from studio.web.pages.lists import list_page
from studio.web.pages.ruled import GET, page

#: State of a price -> its word and its shape.
WORDS = {
    RungState.KEEPS: ("on target", "good"),
    RungState.BELOW_WANTED: ("below target", ""),
    RungState.UNDER_FLOOR: ("under its floor", "soon"),
    RungState.OVERRIDDEN: ("under its floor, allowed", ""),
    RungState.NO_COST: ("cost not known", ""),
}
SIZE = 25


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownRung:
    """A listed price with the margin on the higher of both costs, and its state in words."""

    view: RungView
    word: str
    shape: str

    @property
    def margin(self) -> Decimal | None:
        """The lower of the two margins: that on the cost which the floor rests on."""
        known = [each.margin for each in (self.view.actual, self.view.replacement)]
        return min((margin for margin in known if margin is not None), default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownTier:
    """A tier with its prices of one product."""

    view: TierView
    rungs: tuple[ShownRung, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownLadder:
    """A product's ladder."""

    view: LadderView
    tiers: tuple[ShownTier, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownSlip:
    """A price under its floor, and what the form that restores it is sent with (None: unknown)."""

    slip: Slip
    price: str | None
    day: str


def show_ladder(view: LadderView) -> ShownLadder:
    """A ladder as pages show it; reads nothing."""
    return ShownLadder(
        view=view,
        tiers=tuple(
            ShownTier(view=tier, rungs=tuple(_rung(rung) for rung in tier.rungs))
            for tier in view.tiers
        ),
    )


def show_slips(slips: Iterable[Slip], *, on: date) -> list[ShownSlip]:
    """Prices under their floor as pages show them; reads nothing."""
    return [
        ShownSlip(
            slip=slip,
            price=None if slip.restoring is None else money_input(slip.restoring),
            day=on.isoformat(),
        )
        for slip in slips
    ]


def money_input(value: int) -> str:
    """An amount as a money field reads it."""
    return format_money_input(
        value, currency=settings.STUDIO_CURRENCY, locale=settings.STUDIO_LOCALE
    )


def _rung(view: RungView) -> ShownRung:
    word, shape = WORDS[view.state]
    return ShownRung(view=view, word=word, shape=shape)


class ProductFilter(forms.Form):
    """What is looked for among the products."""

    q = forms.CharField(required=False, max_length=100, label="Name or code")
    old = forms.BooleanField(required=False, label="With those no longer sold")


@page(LOOK, methods=GET)
def price_list(request: HttpRequest) -> HttpResponse:
    """All products by name with cost, prices by tier, margins; on top what fell under its floor."""
    on = timezone.localdate()
    form = ProductFilter(request.GET or None)
    rows = list_page(request, _found(form), order=("name", "id"), filters=form, size=SIZE)
    watch = watched(on=on, also=[product.pk for product in rows.rows])
    slips = show_slips(watch.slips, on=on)
    ladders = price_ladders(rows.rows, on=on, costs=watch.costs)
    context = {
        "rows": rows,
        "ladders": [show_ladder(view) for view in ladders],
        "tiers": list(Tier.objects.filter(active=True)),
        "listed": [each for each in slips if not each.slip.is_quote],
        "quoted": [each for each in slips if each.slip.is_quote],
        "unknown": watch.not_known,
    }
    return render(request, "costing/prices/prices.html", context)


def _found(form: ProductFilter) -> "QuerySet[Product]":
    given = form.cleaned_data if form.is_valid() else {}
    found = Product.objects.all()
    if not given.get("old"):
        found = found.filter(active=True)
    if given.get("q"):
        found = found.filter(Q(name__icontains=given["q"]) | Q(code__icontains=given["q"]))
    return found
