"""The status of lots: released to use, held in quarantine, or blocked."""

from django.db import transaction

from inventory.domain.shipping.trace import Direction
from inventory.domain.stock.lots import LotStatus
from inventory.errors import LotHeld, LotNotUsable
from inventory.models.shipping.recalls import Recall
from inventory.models.stock.lots import Lot
from inventory.queries.shipping.among import among
from inventory.queries.shipping.trace import reached
from inventory.services.events import hold_lifting
from inventory.services.stock.locks import lock_lots
from studio.foundation.errors import InvalidInput


@transaction.atomic
def set_lot_status(
    lot_id: int, status: LotStatus, *, reason: str = "", unless_blocked: bool = False
) -> Lot:
    """Release, quarantine or block a lot. Blocking needs a reason.

    This lifts quarantine on arrival and blocks set by hand, and no more: a lot that an open recall
    reaches, that is unsafe as poured, or that is still curing raises LotHeld with its way out.
    With `unless_blocked` a lot that somebody blocked meanwhile stays so: raises LotNotUsable.

    What is already reserved of a lot that is no longer released stays reserved but cannot be
    consumed: the maker chooses another lot or releases the reservation.
    """
    if status is LotStatus.BLOCKED and not reason.strip():
        raise InvalidInput("Say why the lot is blocked.", field="reason")
    lot = lock_lots([lot_id])[lot_id]
    if unless_blocked and lot.status == LotStatus.BLOCKED.value:
        raise LotNotUsable(f"Lot {lot.code} is blocked: {lot.status_reason}", field="lot")
    if status.lifts(LotStatus(lot.status)):
        _refuse_recalled(lot)
        hold_lifting.send(Lot, lot=lot, to=status)
    lot.status = status.value
    lot.status_reason = reason.strip()
    lot.save(update_fields=["status", "status_reason"])
    return lot


def _refuse_recalled(lot: Lot) -> None:
    """Refuse a lot that an open recall reaches, itself or through what went into it."""
    above = among(reached(lot.code, Direction.UP))
    recall = Recall.objects.filter(lot__in=above, lifted_at__isnull=True).first()
    if recall is not None:
        raise LotHeld(
            f"Lot {lot.code} is held by recall {recall.code} ({recall.reason}). It is free again "
            "once that recall is lifted.",
            field="lot",
            details={"recall": recall.code},
        )
