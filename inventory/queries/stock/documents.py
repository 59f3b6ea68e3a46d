"""What the ledger says of a document."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from inventory.domain.stock.ledger import Verb
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.models.stock.reservations import ReservationLine, ReservationState
from studio.foundation.money import share


@dataclass(frozen=True, slots=True)
class Take:
    """What was consumed of one lot for a document: stock units, with the cost that went along."""

    lot_id: int
    lot_code: str
    material_id: int
    material_code: str
    material_name: str
    unit: str
    amount: int
    cost: int


@dataclass(frozen=True, slots=True)
class Move:
    """One posting for a document: when, what was done with lots, and by whom."""

    at: datetime
    verbs: frozenset[str]
    by: Any


def moves_for(reference: str) -> list[Move]:
    """The postings for a document ("batch:B-00012") in their order. One query."""
    entries = StockEntry.objects.filter(reference=reference).select_related("by").order_by("id")
    found: dict[UUID, list[StockEntry]] = defaultdict(list)
    for entry in entries:
        found[entry.posting].append(entry)
    return [
        Move(some[0].at, frozenset(entry.verb for entry in some), some[0].by)
        for some in found.values()
    ]


def takes_for(reference: str) -> list[Take]:
    """What was consumed for a document ("batch:B-00012"), lot by lot. One query."""
    entries = (
        StockEntry.objects.filter(reference=reference, verb=Verb.CONSUME.value)
        .select_related("lot__material")
        .order_by("id")
    )
    return [_take(entry.lot, -entry.on_hand, -entry.cost) for entry in entries]


def held_for(reservation_id: int) -> list[Take]:
    """What is held for a reservation, lot by lot, with the cost it would take along now. One query.

    Nothing for a reservation that has ended.
    """
    lines = (
        ReservationLine.objects.filter(
            reservation=reservation_id, remaining__gt=0, reservation__state=ReservationState.OPEN
        )
        .select_related("lot__material")
        .order_by("id")
    )
    return [
        _take(line.lot, line.remaining, share(line.lot.cost, line.remaining, line.lot.on_hand))
        for line in lines
    ]


def _take(lot: Lot, amount: int, cost: int) -> Take:
    return Take(
        lot_id=lot.pk,
        lot_code=lot.code,
        material_id=lot.material_id,
        material_code=lot.material.code,
        material_name=lot.material.name,
        unit=lot.material.stock_unit,
        amount=amount,
        cost=cost,
    )


def held_by_reservation(reservations: Iterable[int]) -> dict[int, list[tuple[Lot, int]]]:
    """The lots that open reservations still hold, by reservation id. One query."""
    lines = (
        ReservationLine.objects.filter(
            reservation__in=list(reservations),
            remaining__gt=0,
            reservation__state=ReservationState.OPEN,
        )
        .select_related("lot")
        .order_by("id")
    )
    held: dict[int, list[tuple[Lot, int]]] = defaultdict(list)
    for line in lines:
        held[line.reservation_id].append((line.lot, line.remaining))
    return dict(held)
