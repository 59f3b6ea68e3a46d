"""Lots of which something is free, lot by lot."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import F

from inventory.domain.stock.lots import LotState
from inventory.models.stock.lots import Lot
from inventory.queries.stock.holds import only_unsafe
from inventory.queries.stock.on_hand import fresh, usable
from inventory.queries.stock.supplies import open_requirements


@dataclass(frozen=True, slots=True)
class FreeLot:
    """A lot that may be picked, and how much of it nobody holds (stock units)."""

    id: int
    code: str
    material: int
    free: int
    best_before: date | None


@dataclass(frozen=True, slots=True)
class UnsafeLot:
    """Soap that is held as unsafe and for nothing else, so an owner may name it for a rebatch.

    `free` is in stock units; `reason` says what it is held for.
    """

    id: int
    code: str
    material: int
    free: int
    reason: str


@dataclass(frozen=True, slots=True)
class Owed:
    """What a holder still requires of a material beyond what it holds (stock units)."""

    holder: str
    material: int
    amount: int


def free_lots(materials: Iterable[int], *, on: date) -> list[FreeLot]:
    """Lots of these materials that may be picked on a day, the oldest first. One query."""
    rows: Any = (
        Lot.objects.filter(usable(on), material__in=list(materials), on_hand__gt=F("reserved"))
        .order_by("received_on", "id")
        .values_list("id", "code", "material", F("on_hand") - F("reserved"), "best_before")
    )
    return [FreeLot(*row) for row in rows]


def unsafe_lots(materials: Iterable[int], *, on: date) -> list[UnsafeLot]:
    """Lots of these materials that an owner may name for a rebatch on a day, the oldest first.

    Two queries, the second only where a lot is blocked.
    """
    blocked = Lot.objects.filter(
        fresh(on),
        state=LotState.BLOCKED.value,
        received_on__lte=on,
        material__in=list(materials),
        on_hand__gt=F("reserved"),
    )
    lots = list(blocked.order_by("received_on", "id"))
    unsafe = only_unsafe(lots)
    return [
        UnsafeLot(lot.pk, lot.code, lot.material_id, lot.on_hand - lot.reserved, lot.state_reason)
        for lot in lots
        if lot.pk in unsafe
    ]


def owed_of(materials: Iterable[int]) -> list[Owed]:
    """What is required of these materials and not held yet, the most urgent first. One query."""
    rows: Any = (
        open_requirements()
        .filter(material__in=list(materials), open__gt=0)
        .order_by("due_on", "id")
        .values_list("holder", "material", "open")
    )
    return [Owed(*row) for row in rows]
