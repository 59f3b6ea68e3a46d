"""What the studio is set to: rates, standards, fees, packing, tiers, and what is missing of it."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from itertools import groupby
from typing import Any, Generic, TypeVar

from costing.domain.rates.rates import Fees
from costing.models.bar_cost.conversion import LaborStandard
from costing.models.bar_cost.packaging import PackagingSet
from costing.models.prices.prices import Product, Tier
from costing.models.rates.rates import Fee, Rate
from costing.queries.rates.rates import fees_by_tier, rates_of_day
from studio.foundation.errors import NotFound

Row = TypeVar("Row")


@dataclass(frozen=True, slots=True, kw_only=True)
class Dated(Generic[Row]):
    """Rows of one thing by day: the one in force (None before the first), to come, and before."""

    now: Row | None
    coming: tuple[Row, ...]
    earlier: tuple[Row, ...]

    @property
    def newest(self) -> Row:
        """The last that was written, in force or to come."""
        return self.coming[-1] if self.coming else self.now or self.earlier[0]


def by_day(rows: Iterable[Any], *, key: Callable[[Any], Any], on: date) -> list[Dated[Any]]:
    """Rows that come sorted by `key`, told apart by the day from which they hold."""
    found = []
    for _, group in groupby(rows, key=key):
        ordered = sorted(group, key=lambda row: row.effective_from)
        begun = [row for row in ordered if row.effective_from <= on]
        found.append(
            Dated(
                now=begun[-1] if begun else None,
                coming=tuple(row for row in ordered if row.effective_from > on),
                earlier=tuple(reversed(begun[:-1])),
            )
        )
    return found


def rates_by_kind(*, on: date) -> list[Dated[Rate]]:
    """Rates of every kind that has one. One query."""
    return by_day(
        Rate.objects.select_related("changed_by").order_by("kind", "id"),
        key=lambda row: row.kind,
        on=on,
    )


def standards_by_recipe(*, on: date) -> list[Dated[LaborStandard]]:
    """Labor standards of each recipe, that of all others first. One query."""
    rows = LaborStandard.objects.select_related("formula", "changed_by").order_by(
        "formula__name", "id"
    )
    ordered = sorted(rows, key=lambda row: row.formula.name if row.formula else "")
    return by_day(ordered, key=lambda row: row.formula_id, on=on)


def fees_by_code(*, on: date) -> list[Dated[Fee]]:
    """Fees by their code and tier. One query."""
    rows = Fee.objects.select_related("tier", "changed_by").order_by("code", "tier__name", "id")
    return by_day(rows, key=lambda row: (row.code, row.tier_id), on=on)


def packaging_sets() -> list[PackagingSet]:
    """Packaging sets by name with what they take since when, the newest first. Three queries."""
    rows = PackagingSet.objects.prefetch_related("editions__pieces__material")
    return list(rows.order_by("-active", "name"))


def packaging_set_at(code: str) -> PackagingSet:
    """One of them. Three queries. Raises NotFound."""
    rows = PackagingSet.objects.prefetch_related("editions__pieces__material")
    found = rows.filter(code=code).first()
    if found is None:
        raise NotFound(f"There is no packaging set {code}.", field="packaging_set")
    return found


def tiers_in_order() -> list[Tier]:
    """Tiers as the ladder has them, those that are not sold on any more last. One query."""
    return list(Tier.objects.order_by("-active", "position", "code"))


def tiers_with_fees(*, on: date) -> list[tuple[Tier, Fees]]:
    """Those tiers with what fees take of their sales on that day. Two queries."""
    tiers = tiers_in_order()
    borne = fees_by_tier([tier.code for tier in tiers], on)
    return [(tier, borne[tier.code]) for tier in tiers]


def tier_at(code: str) -> Tier:
    """A tier by its code. One query. Raises NotFound."""
    found = Tier.objects.filter(code=code).first()
    if found is None:
        raise NotFound(f"There is no tier {code}.", field="tier")
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUp:
    """How much of each thing there is, and the kinds of rates that are not known now."""

    missing_rates: tuple[str, ...]
    standards: int
    packings: int
    fees: int
    tiers: int
    products: int


def set_up(*, on: date) -> SetUp:
    """What is set and what is missing. Six queries."""
    return SetUp(
        missing_rates=tuple(kind.value for kind in rates_of_day(on).missing),
        standards=LaborStandard.objects.filter(effective_from__lte=on).count(),
        packings=PackagingSet.objects.filter(active=True).count(),
        fees=Fee.objects.filter(effective_from__lte=on).count(),
        tiers=Tier.objects.filter(active=True).count(),
        products=Product.objects.filter(active=True).count(),
    )
