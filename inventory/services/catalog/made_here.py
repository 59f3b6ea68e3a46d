"""Materials that the studio makes itself, so that what it makes is a lot like any other."""

from typing import TYPE_CHECKING

from django.db import transaction

from inventory.domain.catalog.materials import MADE_HERE, MaterialKind
from inventory.errors import MaterialRefusal
from inventory.models.catalog.materials import Material
from inventory.services.catalog.materials import tell_of_values
from studio.work.keeping import changed, named

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@transaction.atomic
def ensure_made_material(
    *, code: str, name: str, kind: MaterialKind, counted: bool = False
) -> Material:
    """The material with this code, made now if there is none; never bought, so no alerts.

    Raises MaterialRefusal when the code belongs to a material of another kind.
    """
    if kind not in MADE_HERE:
        raise MaterialRefusal(f"A {kind} is bought, not made here.", field="kind")
    material, _ = Material.objects.get_or_create(
        code=code,
        defaults={
            "name": name,
            "kind": kind.value,
            "counted": counted,
            "low_stock_alerts": kind is MaterialKind.INTERMEDIATE,
        },
    )
    if material.kind != kind.value or material.counted != counted:
        raise MaterialRefusal(
            f"The code {code} already belongs to {material.name}, a {material.kind}.", field="code"
        )
    return material


@transaction.atomic
def keep_as_lye(material_id: int, alkali: str, *, by: "User | None" = None) -> None:
    """Say of what is made here which alkali it holds ("NaOH" or "KOH")."""
    was = Material.objects.select_for_update().get(pk=material_id)
    material = changed(was, {"alkali": alkali})
    material.revision += 1
    named(material, by)
    material.save(update_fields=["alkali", "revision", "updated_at"])
    tell_of_values(was, material)
