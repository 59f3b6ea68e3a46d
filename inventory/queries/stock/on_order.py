"""What is on its way, and when it could be there."""

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any

from django.db.models import F, Min, Prefetch, QuerySet, Sum, Value
from django.db.models.functions import Coalesce
from django.utils import timezone

from inventory.models.buying.orders import PurchaseOrder, PurchaseOrderLine
from inventory.models.catalog.materials import Material
from inventory.queries.catalog.offers import current_offers
from inventory.queries.stock.supplies import comes_on, expected_makes
from studio.foundation.errors import NotFound


def orders() -> "QuerySet[PurchaseOrder]":
    """Purchase orders with their lines and what was delivered against each, newest first."""
    lines = PurchaseOrderLine.objects.select_related("offer", "material").prefetch_related(
        "delivery_lines"
    )
    return (
        PurchaseOrder.objects.select_related("supplier", "by", "plan")
        .prefetch_related(Prefetch("lines", lines), "mails")
        .order_by("-id")
    )


def find_order(code: str) -> PurchaseOrder:
    """One order as `orders` shows it. Four queries. Raises NotFound."""
    order = orders().filter(code=code).first()
    if order is None:
        raise NotFound(f"There is no order {code}.")
    return order


def on_order(
    materials: "Iterable[int] | QuerySet[Material] | None" = None,
) -> dict[int, int]:
    """What placed orders still have to bring of each material (stock units), by id. One query.

    A line that brought more than was ordered takes nothing from the others.
    """
    lines = PurchaseOrderLine.objects.filter(
        order__state=PurchaseOrder.State.PLACED, amount__gt=F("received")
    )
    if materials is not None:
        lines = lines.filter(material__in=_as_given(materials))
    rows = lines.values("material").annotate(open=Sum(F("amount") - F("received"))).order_by()
    return {row["material"]: int(row["open"]) for row in rows}


def coverage_dates(materials: Iterable[int]) -> dict[int, date]:
    """The earliest day on which each material could come in: from a placed order, from a planned
    batch that makes it, or from a new order. Two queries.
    """
    wanted = list(materials)
    today = timezone.localdate()
    made = (
        expected_makes()
        .filter(material__in=wanted, coming__gt=0)
        .annotate(days=F("days_to_make"))
        .values_list("material", "days")
        .annotate(day=Min("due_on"))
        .order_by()
    )
    ordered = (
        PurchaseOrderLine.objects.filter(
            material__in=wanted, order__state=PurchaseOrder.State.PLACED, amount__gt=F("received")
        )
        .annotate(days=Value(0))
        .values_list("material", "days")
        .annotate(day=Min("order__expected_on"))
        .order_by()
    )
    dates: dict[int, date] = {}
    for material, days, due_on in ordered.union(made):
        day = comes_on(due_on, days, on=today)
        dates[material] = min(dates.get(material, day), day)
    offered = (
        current_offers(today)
        .filter(material__in=wanted)
        .values("material")
        .annotate(days=Min(Coalesce("lead_time_days", "supplier__lead_time_days")))
        .order_by("material")
    )
    for each in offered:
        day = today + timedelta(days=each["days"])
        dates[each["material"]] = min(dates.get(each["material"], day), day)
    return dates


def _as_given(materials: "Iterable[int] | QuerySet[Material]") -> Any:
    """A queryset stays a subquery; anything else becomes a list of ids."""
    return materials if isinstance(materials, QuerySet) else list(materials)


def orders_due(*, until: date) -> list[PurchaseOrder]:
    """Placed orders that are expected by a day, with their suppliers, the earliest first. One
    query."""
    return list(
        PurchaseOrder.objects.filter(state=PurchaseOrder.State.PLACED, expected_on__lte=until)
        .select_related("supplier")
        .order_by("expected_on", "id")
    )
