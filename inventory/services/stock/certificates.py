"""What a lot's own certificate and label say, entered or corrected after the lot came in."""

from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, cast

from django.db import transaction

from inventory.domain.catalog.packs import friendly_amount, most
from inventory.domain.catalog.ranges import check_ranges
from inventory.domain.stock.allergens import Allergen, check_allergens, written_allergens
from inventory.domain.stock.freshness import check_best_before
from inventory.errors import MaterialRefusal
from inventory.models.stock.lots import Lot
from inventory.services.stock.locks import lock_lots
from studio.foundation.errors import Faults
from studio.foundation.units.conversion import stock_amount
from studio.foundation.units.quantity import Quantity, UnitRefusal
from studio.work.cleaning import take_field_faults

if TYPE_CHECKING:
    from django.contrib.auth.models import User

#: Values of a certificate of analysis; each goes before the material's nominal one.
ANALYZED = (
    "density_g_ml",
    "density_temperature_c",
    "sv_mg_koh_g",
    "iodine_value",
    "purity",
    "water_share",
    "ifra_category9_max",
)
LABELED = ("supplier_lot", "best_before", "note")
Stated = Decimal | date | str | Sequence[Allergen] | None


@transaction.atomic
def certify_lot(
    lot_id: int,
    stated: Mapping[str, Stated],
    *,
    by: "User | None" = None,
) -> Lot:
    """Keep what is stated of a lot, by the names in `ANALYZED` and `LABELED`; None forgets a value.

    "allergens" are `Allergen`s; an empty list states that there are none.

    What is not named stays. Stock does not move: amounts already weighed in stay as they are.
    Raises MaterialRefusal with every fault, NotFound; then nothing changes.
    """
    lot = lock_lots([lot_id])[lot_id]
    faults = Faults()
    _set_stated(lot, stated, faults)
    check_ranges(faults, lot, ANALYZED, kind=lot.material.kind)
    take_field_faults(faults, lot, only=("supplier_lot", "note"))
    if lot.density_g_ml is None and lot.density_temperature_c is not None:
        faults.add(
            "temperature-without-density",
            "A density's temperature is given without the density.",
            "density_g_ml",
        )
    check_best_before(faults, lot.best_before, received_on=lot.received_on)
    faults.raise_if_any(MaterialRefusal)
    # Read by the history of lots, as is known there by this name.
    lot._history_user = by  # type: ignore[attr-defined]
    lot.save(update_fields=list(stated))
    return lot


def _set_stated(lot: Lot, stated: Mapping[str, Stated], faults: Faults) -> None:
    for name, value in stated.items():
        if name in (*ANALYZED, *LABELED):
            setattr(lot, name, value)
        elif name == "allergens":
            lot.allergens = _allergens(value, faults)
        else:
            faults.add("unknown-value", f"{name} is on no certificate.", name)
    if not stated:
        faults.add("nothing-stated", "Say what the certificate states.")


def _allergens(value: Stated, faults: Faults) -> list[dict[str, str]] | None:
    if value is None:
        return None
    found = list(cast(Sequence[Allergen], value))
    check_allergens(faults, found, field="allergens")
    return written_allergens(found)


def weigh_from(lot: Lot, quantity: Quantity) -> int:
    """What is written of a lot, in the stock unit of its material.

    A volume becomes mass through the lot's own density, else the material's nominal one. Raises
    UnitRefusal for another dimension, a volume without a density, a part of a piece, and for more
    than one lot can hold.
    """
    counted = lot.material.counted
    density = lot.density_g_ml if lot.density_g_ml is not None else lot.material.density_g_ml
    amount = stock_amount(quantity, counted=counted, density_g_ml=density)
    if amount > most(counted=counted):
        limit = friendly_amount(most(counted=counted), counted=counted)
        raise UnitRefusal.because("too-large", f"No lot holds that much: {limit} at most.")
    return amount
