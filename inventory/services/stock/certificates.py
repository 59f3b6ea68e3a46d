"""What a lot's own certificate and label say, what is unusual of it confirmed by somebody."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from copy import copy
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

from django.db import transaction

from inventory.domain.catalog.allergens import Allergen
from inventory.domain.catalog.certificate import CERTIFIED, VALUES, check_certificate
from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.catalog.packs import friendly_amount, most
from inventory.domain.catalog.unusual import Unusual, ask, unusual
from inventory.domain.stock.freshness import check_best_before
from inventory.domain.stock.leaves import judged_by, leaf_of
from inventory.errors import MaterialRefusal, NotForYou
from inventory.models.stock.lots import CertificateConfirmation, Lot
from inventory.queries.stock.certificates import unusual_of
from inventory.queries.stock.contents import contents_of
from inventory.services.events import ValuesChanged, values_changed
from inventory.services.stock.locks import lock_lots
from studio.foundation.doers import By
from studio.foundation.errors import Faults
from studio.foundation.histories import in_words
from studio.foundation.roles import may_decide
from studio.foundation.units.conversion import stock_amount
from studio.foundation.units.quantity import Quantity, UnitRefusal
from studio.work.cleaning import take_field_faults


def _asked_about(
    lot: Lot, found: Iterable[Unusual], stated: Collection[str], confirmed: Collection[str]
) -> list[Unusual]:
    """The unusual values that are stated or confirmed now and that nobody has confirmed of it."""
    now = [each for each in found if each.field in stated or each.code in confirmed]
    if not now:
        return []
    kept = set(lot.confirmations.values_list("code", "value"))
    return [each for each in now if (each.code, each.value) not in kept]


def _leave_to_owner(lot: Lot, asked: Iterable[Unusual]) -> None:
    """Refuse what makes soap lye-heavy if it is wrong. Raises NotForYou."""
    for each in asked:
        raise NotForYou(
            f"{each.words} More lye would be weighed by it, so an owner alone confirms that of lot"
            f" {lot.code}: measure it again, or ask an owner.",
            field=each.field,
        )


def keep_confirmed(lots: Iterable[Lot], *, confirmed: Collection[str], by: By = None) -> None:
    """Keep what was confirmed of the unusual values of lots that came in just now. One query, none
    for nothing.
    """
    _keep(((lot, unusual(lot.certificate, lot.material)) for lot in lots), confirmed, by)


def _keep(
    found: Iterable[tuple[Lot, Iterable[Unusual]]], confirmed: Collection[str], by: By
) -> None:
    rows = [
        CertificateConfirmation(lot=lot, code=each.code, value=each.value, by=by)
        for lot, some in found
        for each in some
        if each.code in confirmed
    ]
    if rows:
        # Who confirmed a value first stays.
        CertificateConfirmation.objects.bulk_create(rows, ignore_conflicts=True)


LABELED = ("supplier_lot", "best_before", "note")
Stated = Decimal | date | str | Sequence[Allergen] | None


@transaction.atomic
def certify_lot(
    lot_id: int,
    stated: Mapping[str, Stated],
    *,
    confirmed: Collection[str] = (),
    by: By = None,
) -> Lot:
    """Keep what is stated of a lot by the names of `CERTIFIED` and `LABELED`; None forgets it.

    "allergens" are `Allergen`s; an empty list states that there are none.

    What is not named stays. Stock does not move: amounts already weighed in stay as they are.
    What was made of the lot is judged again where that rests on what changed. An unusual value is
    kept once its code is among those `confirmed`, with who did; one that stands already may be
    confirmed alone. What contradicts the parts of a lot that was made here, and has more lye
    weighed, an owner alone confirms. Raises MaterialRefusal with every fault, NotForYou, NotFound;
    then nothing changes.
    """
    lot = lock_lots([lot_id])[lot_id]
    was = copy(lot)
    faults = Faults()
    _set_stated(lot, stated, faults)
    found = unusual_of(lot)
    if not stated and not any(each.code in confirmed for each in found):
        faults.add("nothing-stated", "Say what the certificate states.")
    asked = _asked_about(lot, found, stated, confirmed)
    not_for = [each for each in asked if each.dangerous and not may_decide(by)]
    ask(faults, (each for each in asked if each not in not_for), confirmed=confirmed)
    take_field_faults(faults, lot, only=("supplier_lot", "note"))
    check_best_before(faults, lot.best_before, received_on=lot.received_on)
    faults.raise_if_any(MaterialRefusal)
    _leave_to_owner(lot, not_for)
    # Read by the history of lots, as is known there by this name.
    lot._history_user = by  # type: ignore[attr-defined]
    lot.save(update_fields=list(stated))
    _keep([(lot, found)], confirmed, by)
    _tell(was, lot)
    return lot


def _tell(was: Lot, lot: Lot) -> None:
    """Have what was made of the lot judged again, where that rests on what is stated now."""
    leaves = [leaf_of(lot.material, each.certificate) for each in (was, lot)]
    if judged_by(leaves[0]) == judged_by(leaves[1]):
        return
    change = ValuesChanged(
        subject=f"lot:{lot.code}",
        name=f"lot {lot.code} of {lot.material.name}",
        words=in_words(was, lot, among=VALUES),
        lots=frozenset({lot.pk}),
    )
    values_changed.send(Lot, change=change)


def _set_stated(lot: Lot, stated: Mapping[str, Stated], faults: Faults) -> None:
    certified: dict[str, Any] = {}
    for name, value in stated.items():
        if name in CERTIFIED:
            certified[name] = value
        elif name in LABELED:
            setattr(lot, name, value)
        else:
            faults.add("unknown-value", f"{name} is on no certificate.", name)
    certificate = replace(lot.certificate, **certified)
    inside = _alkali_inside(lot) if certified.get("purity") is not None else ""
    check_certificate(faults, certificate, material=lot.material, stated=certified, inside=inside)
    lot.certificate = certificate


def _alkali_inside(lot: Lot) -> str:
    """The alkali of what went into a blend or lye made here. No query for anything else."""
    if lot.material.kind != MaterialKind.INTERMEDIATE:
        return ""
    return contents_of([lot.pk])[lot.pk].alkali


def weigh_from(lot: Lot, quantity: Quantity) -> int:
    """What is written of a lot, in the stock unit of its material.

    A volume becomes mass through the lot's own density, else the material's nominal one. Raises
    UnitRefusal for another dimension, a volume without a density, a part of a piece, and for more
    than one lot can hold.
    """
    counted = lot.material.counted
    density = lot.own_or_nominal("density_g_ml")
    amount = stock_amount(quantity, counted=counted, density_g_ml=density)
    if amount > most(counted=counted):
        limit = friendly_amount(most(counted=counted), counted=counted)
        raise UnitRefusal.because("too-large", f"No lot holds that much: {limit} at most.")
    return amount
