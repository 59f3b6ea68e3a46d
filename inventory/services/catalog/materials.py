"""Materials: kept as described, or refused with everything that is wrong."""

from decimal import Decimal
from typing import TYPE_CHECKING

from django.db import transaction

from inventory.domain.catalog.descriptions import (
    MaterialDescription,
    check_material,
    fatty_acids_of,
    gaps,
)
from inventory.domain.catalog.materials import MaterialKind
from inventory.errors import MaterialRefusal
from inventory.models.catalog.materials import FattyAcidShare, Material
from inventory.services.catalog.offers import weigh_offers_again
from studio.foundation.errors import Fault, Faults
from studio.models import Unchanged, lock_kept
from studio.work.cleaning import take_clashes, take_field_faults

if TYPE_CHECKING:
    from django.contrib.auth.models import User

_TEXTS = ("code", "name", "kind", "inci_name", "note")
_PLAIN = (
    "code",
    "name",
    "counted",
    "piece_mass",
    "inci_name",
    "density_g_ml",
    "density_temperature_c",
    "sv_mg_koh_g",
    "sv_low_mg_koh_g",
    "sv_high_mg_koh_g",
    "iodine_value",
    "water_share",
    "fat_share",
    "alkali",
    "purity",
    "acid_naoh_g_per_g",
    "ifra_category9_max",
    "tempering",
    "shelf_life_days",
    "reorder_point",
    "reorder_to",
    "shelf_space",
    "active",
    "note",
)


@transaction.atomic
def save_material(
    described: MaterialDescription,
    *,
    material_id: int | None = None,
    unchanged: Unchanged | None = None,
    by: "User | None" = None,
) -> Material:
    """Keep a material as described: a new one, or in place of what `material_id` was.

    Raises MaterialRefusal with every fault; then nothing changes. `counted` is fixed once there
    is a lot, an offer or a requirement in the old unit. A changed density weighs again the offers
    that rest on it. A fat may lack its saponification value: `gaps_of` names what is missing.
    """
    material = Material() if material_id is None else lock_kept(Material, material_id, unchanged)
    was_counted, was_density = material.counted, material.density_g_ml
    faults = check_material(described)
    acids = fatty_acids_of(described, Faults())
    for name in _PLAIN:
        setattr(material, name, getattr(described, name))
    material.kind = described.kind.value
    material.low_stock_alerts = described.alerts_on
    take_field_faults(faults, material, only=_TEXTS)
    if not faults:
        take_clashes(faults, material, only=("code",))
    if material_id is not None:
        if described.counted != was_counted:
            _check_unit_may_change(faults, material)
        material.revision += 1
    faults.raise_if_any(MaterialRefusal)
    # Read by the history of master data, as is known there by this name.
    material._history_user = by  # type: ignore[attr-defined]
    material.save()
    _keep_fatty_acids(material, acids, is_new=material_id is None)
    if material_id is not None and material.density_g_ml != was_density:
        weigh_offers_again(material, by=by)
    return material


def describe(material: Material) -> MaterialDescription:
    """A material as it is kept, to be described anew with changes. One query."""
    plain = {name: getattr(material, name) for name in _PLAIN}
    acids = {row.acid: row.share for row in material.fatty_acids.all()}
    return MaterialDescription(
        kind=MaterialKind(material.kind),
        low_stock_alerts=material.low_stock_alerts,
        fatty_acids=acids,
        **plain,
    )


def gaps_of(material: Material) -> tuple[Fault, ...]:
    """What is not known of a material before it can be used everywhere, each thing named."""
    return gaps(describe(material))


def _check_unit_may_change(faults: Faults, material: Material) -> None:
    rows = (material.lots, material.offers, material.requirements)
    if any(related.exists() for related in rows):
        faults.add(
            "unit-fixed",
            "There is stock, an offer or a plan in the old unit: make a new material instead of "
            "counting what was weighed, or weighing what was counted.",
            "counted",
        )


def _keep_fatty_acids(material: Material, acids: dict[str, Decimal], *, is_new: bool) -> None:
    """Replace the shares. Two queries, one for a new material."""
    if not is_new:
        material.fatty_acids.all().delete()
    FattyAcidShare.objects.bulk_create(
        FattyAcidShare(material=material, acid=acid, share=share) for acid, share in acids.items()
    )
