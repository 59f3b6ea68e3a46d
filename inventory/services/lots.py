"""The status of lots: released to use, held in quarantine, or blocked."""

from django.db import transaction

from inventory.domain.lots import LotStatus
from inventory.errors import LotNotUsable
from inventory.models import Lot
from inventory.services.locks import lock_lots
from studio.errors import InvalidInput


@transaction.atomic
def set_lot_status(
    lot_id: int, status: LotStatus, *, reason: str = "", unless_blocked: bool = False
) -> Lot:
    """Release, quarantine or block a lot. Blocking needs a reason.

    With `unless_blocked` a lot that somebody blocked meanwhile stays so: raises LotNotUsable.

    What is already reserved of a lot that is no longer released stays reserved but cannot be
    consumed: the maker chooses another lot or releases the reservation.
    """
    if status is LotStatus.BLOCKED and not reason.strip():
        raise InvalidInput("Say why the lot is blocked.", field="reason")
    lot = lock_lots([lot_id])[lot_id]
    if unless_blocked and lot.status == LotStatus.BLOCKED.value:
        raise LotNotUsable(f"Lot {lot.code} is blocked: {lot.status_reason}", field="lot")
    lot.status = status.value
    lot.status_reason = reason.strip()
    lot.save(update_fields=["status", "status_reason"])
    return lot
