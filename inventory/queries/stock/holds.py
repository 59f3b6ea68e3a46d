"""The holds of lots."""

from collections.abc import Iterable
from datetime import date

from django.db.models import Max, Prefetch, QuerySet

from inventory.domain.stock.holds import DECIDED, Cause
from inventory.domain.stock.ledger import Verb
from inventory.domain.stock.lots import LotState
from inventory.models.stock.holds import Hold
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.queries.shipping.trace import among

_REBATCHED = DECIDED | {Cause.CURE}


def open_holds(*lots: int) -> list[Hold]:
    """The open holds of lots (ids), in the order in which they were opened. One query."""
    found = Hold.objects.filter(lot__in=among(lots), lifted_at__isnull=True)
    return list(found.order_by("id"))


def open_holds_by_lot() -> dict[int, list[Hold]]:
    """The open holds of all lots, by lot (id), as `open_holds` has those of some. One query."""
    found: dict[int, list[Hold]] = {}
    for each in Hold.objects.filter(lifted_at__isnull=True).order_by("id"):
        found.setdefault(each.lot_id, []).append(each)
    return found


def held_in_words(reason: str, causes: Iterable[Cause]) -> list[Hold]:
    """An open hold of one of these causes on a lot that is held for just these words, if any.

    One query, none without words or causes.
    """
    words, wanted = reason.strip(), sorted(causes)
    if not words or not wanted:
        return []
    found = Hold.objects.filter(lot__state_reason=words, cause__in=wanted, lifted_at__isnull=True)
    return list(found.select_related("lot").order_by("id")[:1])


def holds_of(lot: int) -> list[Hold]:
    """All holds of a lot, open and lifted, in the order in which they were opened. One query."""
    return list(Hold.objects.filter(lot=lot).select_related("by", "lifted_by").order_by("id"))


def holds_for(lot: int, reference: str, causes: Iterable[Cause]) -> list[Hold]:
    """The holds of a lot of these causes for a document ("batch:B-7"), open and lifted, those
    opened or lifted last at the end. One query."""
    found = Hold.objects.filter(lot=lot, reference=reference, cause__in=sorted(causes))
    return sorted(found, key=lambda each: (each.lifted_at or each.at, each.pk))


def held_documents(references: Iterable[str], causes: Iterable[Cause]) -> frozenset[str]:
    """Which of these documents still hold a lot for one of the causes. One query, none for none."""
    wanted = set(references)
    if not wanted:
        return frozenset()
    found = Hold.objects.filter(
        reference__in=wanted, cause__in=sorted(causes), lifted_at__isnull=True
    )
    return frozenset(found.order_by().values_list("reference", flat=True).distinct())


def only_unsafe(lots: Iterable[Lot]) -> frozenset[int]:
    """Which of these lots are held as unsafe soap, besides their cure, and for nothing else (ids).

    A rebatch may use them up. One query, none where no lot is blocked.
    """
    blocked = [lot.pk for lot in lots if lot.state == LotState.BLOCKED.value]
    if not blocked:
        return frozenset()
    causes: dict[int, set[str]] = {}
    for each in open_holds(*blocked):
        causes.setdefault(each.lot_id, set()).add(each.cause)
    return frozenset(pk for pk, some in causes.items() if some & DECIDED and some <= _REBATCHED)


def unsafe_as_reserved(lots: Iterable[Lot], reservation: int) -> frozenset[int]:
    """Which of these lots are `only_unsafe`, and were so when the reservation took them (ids).

    A rebatch that took them since has named them; what came to be held later nobody has chosen.
    Three queries, none where no lot is blocked.
    """
    unsafe = only_unsafe(lots)
    if not unsafe:
        return unsafe
    taken = StockEntry.objects.filter(
        reservation=reservation, lot__in=unsafe, verb=Verb.RESERVE.value
    )
    last = dict(taken.order_by().values_list("lot").annotate(last=Max("at")))
    late = {
        each.lot_id
        for each in open_holds(*unsafe)
        if each.cause in DECIDED and (each.lot_id not in last or each.at > last[each.lot_id])
    }
    return unsafe - late


def freed_without(cause: Cause, reference: str) -> tuple[int, int]:
    """How many lots the open holds of one document hold alone, and how many are held otherwise,
    too. Two queries."""
    found = Hold.objects.filter(lifted_at__isnull=True).order_by()
    mine = found.filter(cause=cause, reference=reference)
    others = found.exclude(cause=cause, reference=reference).filter(lot__in=mine.values("lot"))
    held, still = (rows.values("lot").distinct().count() for rows in (mine, others))
    return held - still, still


def holds_with_people() -> "Prefetch[str, QuerySet[Hold], str]":
    """The holds of lots, open and lifted, for `prefetch_related`; one query for all lots."""
    return Prefetch("holds", Hold.objects.select_related("by", "lifted_by").order_by("id"))


def free_since(lots: Iterable[int]) -> dict[int, date]:
    """The day on which the last hold of each lot was lifted, by id; one that never was held is not
    in the answer. One query."""
    lifted = Hold.objects.filter(lot__in=among(lots), lifted_on__isnull=False)
    return dict(lifted.order_by().values_list("lot").annotate(last=Max("lifted_on")))


def cures_ended(*, on: date) -> list[Hold]:
    """Cures of opening stock whose day has come, of lots that hold something. One query."""
    found = Hold.objects.filter(
        cause=Cause.CURE.value, lifted_at__isnull=True, until__lte=on, lot__on_hand__gt=0
    )
    return list(found.select_related("lot__material").order_by("until", "id"))
