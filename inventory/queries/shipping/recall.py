"""What a recall is about: the lots it reaches, who holds them, and which customers have them."""

from dataclasses import dataclass

from inventory.domain.shipping.trace import (
    CustomerShare,
    Direction,
    HeldFor,
    Trace,
    by_customer,
    totals,
)
from inventory.models.shipping.recalls import Recall
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
    """A recall with what it reaches now."""

    recall: Recall
    affected: Affected


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


def recall_report(code: str) -> RecallReport:
    """A recall and what it reaches now. Six queries at any depth. Raises NotFound."""
    try:
        recall = Recall.objects.select_related("lot__material", "by", "lifted_by").get(code=code)
    except Recall.DoesNotExist:
        raise NotFound(f"There is no recall {code}.", field="recall") from None
    return RecallReport(recall=recall, affected=affected_by(recall.lot.code))
