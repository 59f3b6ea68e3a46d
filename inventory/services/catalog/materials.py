"""Materials: kept as described, or refused with everything that is wrong."""

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import TYPE_CHECKING

from django.db import transaction

from inventory.domain.catalog.descriptions import check_material, read_fatty_acids
from inventory.domain.catalog.materials import MADE_HERE
from inventory.errors import MaterialRefusal
from inventory.models.catalog.materials import FattyAcidShare, Material
from inventory.services.catalog.offers import weigh_offers_again
from studio.foundation.errors import Faults
from studio.foundation.histories import Told, tell
from studio.foundation.units.writing import percent
from studio.work.keeping import Expected, Names, changed, faults_of, keep, locked

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@transaction.atomic
def save_material(
    given: Material,
    names: Names = None,
    *,
    fatty_acids: Mapping[str, Decimal] | None = None,
    by: "User | None" = None,
    expected: Expected = None,
) -> Material:
    """Keep a material, a new one whole, of another the values with these names.

    `fatty_acids` maps "C12:0" or "lauric" to a share of all; None leaves them. Without a word on
    `low_stock_alerts` (None) they are on for what is bought, off for what is made here. Raises
    MaterialRefusal with every fault, and ChangedMeanwhile; then nothing changes. `counted` is
    fixed once there is a lot, an offer or a requirement in the old unit. A changed density weighs
    again the offers that rest on it. A fat may lack its saponification value: see `gaps`.
    """
    material, was = locked(given, names, expected)
    if material.low_stock_alerts is None:
        material.low_stock_alerts = material.kind not in MADE_HERE
    faults = faults_of(material, names)
    check_material(material, faults)
    acids = read_fatty_acids(fatty_acids or {}, faults)
    if was is not None and material.counted != was.counted:
        _check_unit_may_change(faults, material)
    faults.raise_if_any(MaterialRefusal)
    if fatty_acids is not None:
        tell(material, told=_acids_changed(was.acids if was is not None else {}, acids))
    keep(material, names, by=by)
    if fatty_acids is not None:
        _keep_fatty_acids(material, acids)
    if was is not None and material.density_g_ml != was.density_g_ml:
        weigh_offers_again(material, by=by)
    return material


def add_material(
    *, fatty_acids: Mapping[str, Decimal] | None = None, by: "User | None" = None, **values: object
) -> Material:
    """A new material from its columns' values. Raises MaterialRefusal with every fault."""
    blank = changed(Material(), {"low_stock_alerts": None})
    return save_material(changed(blank, values), fatty_acids=fatty_acids, by=by)


def _check_unit_may_change(faults: Faults, material: Material) -> None:
    rows = (material.lots, material.offers, material.requirements)
    if any(related.exists() for related in rows):
        faults.add(
            "unit-fixed",
            "There is stock, an offer or a plan in the old unit: make a new material instead of "
            "counting what was weighed, or weighing what was counted.",
            "counted",
        )


def _acids_changed(was: Mapping[str, Decimal], now: Mapping[str, Decimal]) -> Iterator[Told]:
    for acid in dict.fromkeys((*was, *now)):
        if was.get(acid) != now.get(acid):
            before, after = (percent(of[acid], 4) if acid in of else "" for of in (was, now))
            yield f"Fatty acid {acid}", before, after


def _keep_fatty_acids(material: Material, acids: dict[str, Decimal]) -> None:
    """Replace the shares. Two queries."""
    material.fatty_acids.all().delete()
    FattyAcidShare.objects.bulk_create(
        FattyAcidShare(material=material, acid=acid, share=share) for acid, share in acids.items()
    )
