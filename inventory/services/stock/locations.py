"""Locations of lots: places are kept, and lots are moved between them."""

from dataclasses import dataclass

from django.db import transaction

from inventory.domain.stock.lots import LocationKind
from inventory.errors import MaterialRefusal
from inventory.models.stock.lots import Location, Lot
from inventory.services.stock.locks import lock_lots
from studio.foundation.doers import By
from studio.foundation.errors import Faults, InvalidInput, NotFound
from studio.models import Unchanged, lock_kept
from studio.work.cleaning import take_clashes, take_field_faults
from studio.work.keeping import named

_FIELDS = ("code", "name", "kind", "active", "note")


@dataclass(frozen=True, slots=True, kw_only=True)
class LocationDescription:
    """All that is kept of a place; one that is not `active` takes no more lots."""

    code: str
    name: str
    kind: str = LocationKind.SHELF.value
    active: bool = True
    note: str = ""


@transaction.atomic
def save_location(
    described: LocationDescription,
    *,
    location_id: int | None = None,
    unchanged: Unchanged | None = None,
    by: By = None,
) -> Location:
    """Keep a place as described: a new one, or in place of what `location_id` was.

    What stands there stays there. Raises MaterialRefusal with every fault, NotFound; then nothing
    changes.
    """
    place = Location() if location_id is None else lock_kept(Location, location_id, unchanged)
    for name in _FIELDS:
        setattr(place, name, getattr(described, name))
    faults = Faults()
    take_field_faults(faults, place, only=("code", "name", "kind", "note"))
    if not faults:
        take_clashes(faults, place, only=("code",))
    faults.raise_if_any(MaterialRefusal)
    place.revision += 0 if location_id is None else 1
    named(place, by)
    place.save()
    return place


@transaction.atomic
def move_lot(lot_id: int, location: str | None, *, by: By = None) -> Lot:
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
