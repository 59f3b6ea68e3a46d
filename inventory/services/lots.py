"""The status of lots: released to use, held in quarantine, or blocked."""

from django.db import transaction

from inventory.domain.lots import LotStatus
from inventory.models import Lot
from inventory.services.locks import lock_lots
from studio.errors import InvalidInput


@transaction.atomic
def set_lot_status(lot_id: int, status: LotStatus, *, reason: str = "") -> Lot:
    """Release, quarantine or block a lot. Blocking needs a reason.

    What is already reserved of a lot that is no longer released stays reserved but cannot be
    consumed: the maker chooses another lot or releases the reservation.
    """
    if status is LotStatus.BLOCKED and not reason.strip():
        raise InvalidInput("Say why the lot is blocked.", field="reason")
    lot = lock_lots([lot_id])[lot_id]
    lot.status = status.value
    lot.status_reason = reason.strip()
    lot.save(update_fields=["status", "status_reason"])
    return lot
