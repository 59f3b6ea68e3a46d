"""The proof of sales: what orders say left, came back and is held is what the ledger says."""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import F, Q, Sum
from django.db.models.functions import Coalesce

from costing.models.orders.sales import (
    SalesCredit,
    SalesOrderHold,
    SalesOrderLine,
    SalesShipment,
    SalesShipmentLine,
    SalesShipmentLot,
)
from costing.services.orders.shipping import NOTE
from inventory.domain.stock.ledger import Verb
from inventory.queries.stock.moved import held_by_holder, moved


@dataclass(frozen=True, slots=True, kw_only=True)
class SalesDifference:
    """Something that does not agree about a document: bars, or ten-thousandths of the currency."""

    document: str
    what: str
    in_sales: int
    in_ledger: int


def prove_sales() -> list[SalesDifference]:
    """All that differs; an empty list is the proof. Fifteen queries, however many sales.

    For each shipment of an order: bars and cost of its lines are those of the ledger's entries, and
    so is what came back. For each order: packing cost is what its packaging cost by the ledger, and
    what its lines hold is what its reservation holds of each lot. For each line: what is noted as
    shipped and returned is what its shipments and credits say.
    """
    return [*_shipped(), *_returned(), *_packed(), *_held(), *_lines()]


def _shipped() -> Iterator[SalesDifference]:
    sales = {f"shipment:{code}" for code in _codes()}
    left = {key: row for key, row in moved("shipment:", Verb.SHIP).items() if key[0] in sales}
    bars = _sums(
        SalesShipmentLot.objects, "line__shipment__shipment__code", "shipped__lot__code", of="bars"
    )
    yield from _differing("bars that left", bars, {key: -row.amount for key, row in left.items()})
    costs = _by_document(_sums(SalesShipmentLine.objects, "shipment__shipment__code", of="cost"))
    ledger: dict[str, int] = defaultdict(int)
    for (document, _), row in left.items():
        ledger[document] -= row.cost
    yield from _differing("cost of what left", costs, ledger)
    lines = _by_document(_sums(SalesShipmentLine.objects, "shipment__shipment__code", of="bars"))
    of_lots: dict[str, int] = defaultdict(int)
    for (document, _), amount in bars.items():
        of_lots[document] += amount
    yield from _differing("bars of lines and of their lots", lines, of_lots)


def _returned() -> Iterator[SalesDifference]:
    sales = {f"shipment:{code}" for code in _codes()}
    back = {key: row for key, row in moved("shipment:", Verb.RETURN).items() if key[0] in sales}
    path = ("back__line__shipment__code", "back__line__lot__code")
    bars, costs = (_sums(SalesCredit.objects, *path, of=of) for of in ("bars", "cost"))
    yield from _differing("bars that came back", bars, {k: row.amount for k, row in back.items()})
    yield from _differing("cost of what came back", costs, {k: row.cost for k, row in back.items()})


def _packed() -> Iterator[SalesDifference]:
    ledger: dict[str, int] = defaultdict(int)
    for (document, _), row in moved("order:", Verb.CONSUME, note=NOTE).items():
        ledger[document] -= row.cost
    rows = SalesShipment.objects.order_by().values_list("order__code")
    costs = {f"order:{code}": int(total) for code, total in rows.annotate(t=Sum("packing_cost"))}
    yield from _differing("cost of packing", costs, ledger)


def _held() -> Iterator[SalesDifference]:
    rows: Any = (
        SalesOrderHold.objects.filter(reservation__state="open", remaining__gt=0)
        .order_by()
        .values_list("reservation__holder", "lot__code")
        .annotate(total=Sum("remaining"))
    )
    held = {(holder, lot): int(total) for holder, lot, total in rows}
    yield from _differing("bars held", held, held_by_holder("order:"))


def _lines() -> Iterator[SalesDifference]:
    """Two sums over two relations would multiply each other, so each is asked by itself."""
    for what, path in (("shipped", "shipments__bars"), ("returned", "shipments__credits__bars")):
        wrong = SalesOrderLine.objects.annotate(total=Coalesce(Sum(path), 0)).filter(
            ~Q(total=F(what))
        )
        for line in wrong.select_related("order").order_by("order", "position"):
            yield SalesDifference(
                document=f"order:{line.order.code} line {line.position}",
                what=what,
                in_sales=getattr(line, what),
                in_ledger=int(getattr(line, "total")),  # noqa: B009  # annotated above
            )


def _codes() -> list[str]:
    return list(SalesShipment.objects.values_list("shipment__code", flat=True))


def _sums(rows: Any, *path: str, of: str) -> dict[tuple[str, ...], int]:
    """Sums by document and lot code (or document alone), under the names the ledger uses."""
    found = rows.order_by().values_list(*path).annotate(total=Sum(of))
    return {(f"shipment:{row[0]}", *row[1:-1]): int(row[-1]) for row in found}


def _by_document(sums: Mapping[tuple[str, ...], int]) -> dict[str, int]:
    return {key[0]: total for key, total in sums.items()}


def _differing(
    what: str, sales: Mapping[Any, int], ledger: Mapping[Any, int]
) -> Iterator[SalesDifference]:
    for key in sorted({*sales, *ledger}, key=str):
        ours, theirs = sales.get(key, 0), ledger.get(key, 0)
        if ours != theirs:
            document = key if isinstance(key, str) else ", ".join(key)
            yield SalesDifference(document=document, what=what, in_sales=ours, in_ledger=theirs)
