"""Profit by product, customer and month, from what orders shipped and what came back."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Case, CharField, F, QuerySet, Sum, Value, When
from django.db.models.functions import Cast, Concat, ExtractMonth, ExtractYear, LPad

from costing.domain.profit.profit import By, Figures, Group, added, total
from costing.models.bar_cost.conversion import LateConversion
from costing.models.orders.sales import SalesCredit, SalesShipmentLine
from costing.models.prices.prices import Product
from costing.models.quotes.quotes import Customer


@dataclass(frozen=True, slots=True, kw_only=True)
class Profit:
    """Groups with their figures, in order; each group is its codes and its month ("2026-03").

    `names` says what products and customers are called, by what they are grouped by and code.
    `late` is labor and overhead whose rates came in these days, for what had left before: an
    expense that is in no group.
    """

    by: tuple[By, ...]
    since: date | None
    until: date | None
    groups: Mapping[Group, Figures]
    names: Mapping[tuple[By, str], str]
    late: int = 0

    @property
    def total(self) -> Figures:
        """All groups together."""
        return total(self.groups)


_LINE = {By.PRODUCT: "line__product__code", By.CUSTOMER: "shipment__order__customer__code"}
_CREDIT = {
    By.PRODUCT: "line__line__product__code",
    By.CUSTOMER: "line__shipment__order__customer__code",
}
_SHIPPED_ON = "shipment__shipment__shipped_on"
_RETURNED_ON = "back__returned_on"
#: Bars that left or came back, and whose labor or overhead was not known when they left.
_NOT_KNOWN = Case(When(cost_known=False, then=F("bars")), default=0)
#: Bars that left, of which nobody had said how they are packed.
_PACKING_NOT_KNOWN = Case(When(packing_known=False, then=F("bars")), default=0)
_NOT_KNOWN_BACK = Case(When(line__cost_known=False, then=F("bars")), default=0)


def profit_by(by: Sequence[By], *, since: date | None = None, until: date | None = None) -> Profit:
    """Profit of what left and came back in a stretch of days, both ends included. Five queries.

    A shipment counts on the day it left, a return on the day it came back. Without `by` all sales
    are one group.
    """
    shipped = _within(SalesShipmentLine.objects.all(), _SHIPPED_ON, since, until)
    back = _within(SalesCredit.objects.all(), _RETURNED_ON, since, until)
    left = _grouped(
        shipped,
        by,
        _LINE,
        _SHIPPED_ON,
        bars="bars",
        sold="revenue",
        cost_out="cost",
        packed="packing",
        fees="fees",
        not_known=_NOT_KNOWN,
        packing_not_known=_PACKING_NOT_KNOWN,
    )
    credited = _grouped(
        back,
        by,
        _CREDIT,
        _RETURNED_ON,
        returned="bars",
        credited="revenue",
        cost_back="cost",
        not_known=_NOT_KNOWN_BACK,
    )
    late = _within(LateConversion.objects.all(), "on", since, until).order_by()
    return Profit(
        by=tuple(by),
        since=since,
        until=until,
        groups=added([left, credited]),
        names=_names(by),
        late=int(late.aggregate(sum=Sum("variance"))["sum"] or 0),
    )


def _within(
    rows: "QuerySet[Any]", day: str, since: date | None, until: date | None
) -> "QuerySet[Any]":
    if since is not None:
        rows = rows.filter(**{f"{day}__gte": since})
    return rows if until is None else rows.filter(**{f"{day}__lte": until})


def _grouped(
    rows: "QuerySet[Any]", by: Sequence[By], paths: Mapping[By, str], day: str, **sums: Any
) -> dict[Group, Figures]:
    """One query; PostgreSQL sums integers into decimals, so they are cast."""
    rows = rows.order_by()
    if By.MONTH in by:
        rows = rows.annotate(month=_month(day))
    columns = ["month" if each is By.MONTH else paths[each] for each in by]
    named = {f"sum_{name}": Sum(column) for name, column in sums.items()}
    if not columns:
        found = rows.aggregate(**named)
        return {(): _figures(found)} if found[next(iter(named))] is not None else {}
    return {
        tuple(row[column] for column in columns): _figures(row)
        for row in rows.values(*columns).annotate(**named)
    }


def _figures(row: Mapping[str, Any]) -> Figures:
    sums = {name[4:]: int(value or 0) for name, value in row.items() if name.startswith("sum_")}
    return Figures(**sums)


def _month(day: str) -> Any:
    year, month = (Cast(part(day), CharField()) for part in (ExtractYear, ExtractMonth))
    return Concat(year, Value("-"), LPad(month, 2, Value("0")))


def _names(by: Sequence[By]) -> dict[tuple[By, str], str]:
    names: dict[tuple[By, str], str] = {}
    for each, model in ((By.PRODUCT, Product), (By.CUSTOMER, Customer)):
        if each in by:
            rows = model._default_manager.values_list("code", "name")
            names.update({(each, code): name for code, name in rows})
    return names
