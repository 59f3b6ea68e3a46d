"""Locations of lots: places are kept, and lots are moved between them."""

from typing import TYPE_CHECKING

from django.db import transaction

from inventory.models import Location, Lot
from inventory.services.locks import lock_lots
from studio.errors import InvalidInput, NotFound

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@transaction.atomic
def move_lot(lot_id: int, location: str | None, *, by: "User | None" = None) -> Lot:
    """Put a lot in a place, by its code; None: in no place any more. No stock changes.

    Raises NotFound, InvalidInput for a place that is no longer used.
    """
    place = location_by_code(location) if location is not None else None
    if place is not None and not place.active:
        raise InvalidInput(f"{place.name} is no longer used.", field="location")
    lot = lock_lots([lot_id])[lot_id]
    lot.location = place
    # Read by the history of lots, as is known there by this name.
    lot._history_user = by  # type: ignore[attr-defined]
    lot.save(update_fields=["location"])
    return lot


def location_by_code(code: str) -> Location:
    """The place with this code. One query. Raises NotFound."""
    try:
        return Location.objects.get(code=code)
    except Location.DoesNotExist:
        raise NotFound(f"There is no location {code}.", field="location") from None
