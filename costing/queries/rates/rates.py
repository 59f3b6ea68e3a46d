"""Rates and fees of selling as the rules see them on a day."""

from collections.abc import Iterable
from datetime import date
from decimal import Decimal

from django.db.models import Q

from costing.domain.rates.rates import Fees, RateKind, RatesInForce, rates_in_force
from costing.domain.rates.rates import Rate as RateView
from costing.models.rates.rates import Fee, Rate

#: Where neither the bench nor a recipe or standard says how long labor takes.
UNTOLD = (
    "Nobody said how many minutes of labor it takes, so the cost is at least what is shown: state "
    "them in its recipe or a labor standard (0 if it takes none), or at the bench."
)


def rates_of_day(on: date) -> RatesInForce:
    """The rates in force on a day; kinds without one are not known, and named. One query."""
    return rates_in_force(rates_until(on), on=on)


def rates_until(on: date) -> list[RateView]:
    """Every rate that ever started by a day, the oldest first. One query."""
    started = Rate.objects.filter(effective_from__lte=on).order_by("effective_from")
    return [
        RateView(kind=RateKind(rate.kind), effective_from=rate.effective_from, amount=rate.amount)
        for rate in started
    ]


def missing_rates_note(missed: Iterable[RateKind], *, on: date, untold: bool = False) -> str:
    """In words, which rates nobody knows of that day, and (`untold`) that nobody said how long it
    takes; empty when neither is missed."""
    names = ", ".join(dict.fromkeys(kind.value.replace("_", " ") for kind in missed))
    found = [UNTOLD] if untold else []
    if names:
        found.append(
            f"No rate was in force on {on} for: {names}. The cost is therefore at least what is "
            "shown. If it costs nothing, enter a rate of 0."
        )
    return " ".join(found)


def fees_of(tier: str | None, on: date) -> Fees:
    """All fees of a sale to a tier (by code; None: only those of every tier) on a day. One query.

    A fee of a tier holds in place of the one of the same code for all.
    """
    return fees_by_tier([tier] if tier else [], on)[tier]


def fees_by_tier(tiers: list[str], on: date) -> dict[str | None, Fees]:
    """The same for several tiers, by code; under None those of a tier that has none. One query."""
    rows = (
        Fee.objects.filter(Q(tier__isnull=True) | Q(tier__code__in=tiers), effective_from__lte=on)
        .select_related("tier")
        .order_by("effective_from")
    )
    newest: dict[tuple[str, str | None], Fee] = {}
    for row in rows:
        newest[row.code, row.tier.code if row.tier else None] = row
    return {tier: _added(newest, tier) for tier in (None, *tiers)}


def _added(newest: dict[tuple[str, str | None], Fee], tier: str | None) -> Fees:
    codes = {code for code, _ in newest}
    found = [newest.get((code, tier), newest.get((code, None))) for code in sorted(codes)]
    rows = [row for row in found if row is not None]
    return Fees(
        share=sum((row.share for row in rows), Decimal(0)),
        fixed_per_sale=sum(row.fixed_per_sale for row in rows),
    )
