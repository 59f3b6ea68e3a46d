"""What a recall is about: the lots it reaches, who holds them, and which customers have them."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from django.db.models import Q, QuerySet

from inventory.domain.shipping.trace import (
    CustomerShare,
    Direction,
    HeldFor,
    Trace,
    by_customer,
    totals,
)
from inventory.models.shipping.recalls import Recall
from inventory.queries.shipping.contacts import Contact, contacts_of
from inventory.queries.shipping.trace import held_of, reached, shipped_of, trace_of
from studio.foundation.errors import NotFound


@dataclass(frozen=True, slots=True, kw_only=True)
class Affected:
    """A lot and everything made of it, as it stands now.

    `still_out` is what customers have in all, by material code, in stock units.
    """

    trace: Trace
    customers: tuple[CustomerShare, ...]
    held: tuple[HeldFor, ...]
    still_out: dict[str, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class RecallReport:
    """A recall with what it reaches now. `contacts` are by the codes of shipments."""

    recall: Recall
    affected: Affected
    contacts: Mapping[str, Contact] = field(default_factory=dict)


def affected_by(code: str) -> Affected:
    """What a recall of this lot reaches. Five queries at any depth. Raises NotFound."""
    lots = reached(code, Direction.DOWN)
    shipped = shipped_of(lots)
    return Affected(
        trace=trace_of(lots, Direction.DOWN),
        customers=by_customer(shipped),
        held=tuple(held_of(lots)),
        still_out=totals(shipped),
    )


def reached_by(affected: Affected) -> dict[str, Contact]:
    """How the customers are reached who have some, by the codes of shipments. One query."""
    sent = {one.shipment for share in affected.customers for one in share.shipped}
    return contacts_of(sent)


def recall_at(code: str) -> Recall:
    """A recall by its code. One query. Raises NotFound."""
    try:
        return Recall.objects.select_related("lot__material", "by", "lifted_by").get(code=code)
    except Recall.DoesNotExist:
        raise NotFound(f"There is no recall {code}.", field="recall") from None


def recall_report(code: str) -> RecallReport:
    """A recall and what it reaches now. Seven queries at any depth. Raises NotFound."""
    recall = recall_at(code)
    affected = affected_by(recall.lot.code)
    return RecallReport(recall=recall, affected=affected, contacts=reached_by(affected))


def open_recall_of(lot: str) -> Recall | None:
    """The recall of this lot (its code) that is not lifted, if any. One query."""
    return Recall.objects.filter(lot__code=lot, lifted_at__isnull=True).first()


def recalls_found(*, text: str = "", is_open: bool | None = None) -> QuerySet[Recall]:
    """Recalls by code, lot, material or reason; open ones, lifted ones, or both for None."""
    found = Recall.objects.select_related("lot__material", "by")
    if is_open is not None:
        found = found.filter(lifted_at__isnull=is_open)
    if text:
        found = found.filter(
            Q(code__icontains=text)
            | Q(lot__code__icontains=text)
            | Q(lot__material__name__icontains=text)
            | Q(reason__icontains=text)
        )
    return found
