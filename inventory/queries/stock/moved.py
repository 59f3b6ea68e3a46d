"""What the ledger says of many documents at once, lot by lot."""

from dataclasses import dataclass
from typing import Any

from django.db.models import Sum

from inventory.domain.stock.ledger import Verb
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.reservations import ReservationLine, ReservationState

#: A document ("shipment:S-00001") or a holder, and the code of a lot.
Key = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Moved:
    """What went out (below zero) or came in: stock units, and the cost that went along."""

    amount: int
    cost: int


def moved(prefix: str, verb: Verb, *, note: str = "") -> dict[Key, Moved]:
    """What was entered under a verb for documents of a kind ("shipment:"), by document and lot.

    With `note` only entries that say so. One query.
    """
    rows: Any = StockEntry.objects.filter(reference__startswith=prefix, verb=verb.value)
    if note:
        rows = rows.filter(note=note)
    sums = (
        rows.order_by()
        .values_list("reference", "lot__code")
        .annotate(amount=Sum("on_hand"), worth=Sum("cost"))
    )
    return {
        (reference, lot): Moved(int(amount), int(worth)) for reference, lot, amount, worth in sums
    }


def held_by_holder(prefix: str) -> dict[Key, int]:
    """What open reservations of holders of a kind ("order:") hold, by holder and lot. One query."""
    rows: Any = (
        ReservationLine.objects.filter(
            reservation__holder__startswith=prefix,
            reservation__state=ReservationState.OPEN,
            remaining__gt=0,
        )
        .order_by()
        .values_list("reservation__holder", "lot__code")
        .annotate(total=Sum("remaining"))
    )
    return {(holder, lot): int(total) for holder, lot, total in rows}
