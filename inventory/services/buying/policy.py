"""Reordering: keep what the studio aims at, and adopt what follows from it."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils import timezone

from inventory.errors import MaterialRefusal
from inventory.models.buying.policies import PolicySettings
from inventory.models.catalog.materials import Material
from inventory.queries.buying.policies import SuggestedPolicy, suggested_policies
from inventory.services.catalog.materials import save_material
from studio.foundation.doers import By
from studio.foundation.errors import Faults, NotFound, StateConflict
from studio.foundation.money import MAX_MONEY
from studio.models import Unchanged
from studio.work.keeping import changed

LONGEST_TIME_TO_USE_DAYS = 3_650
_MISSING = {
    "no-use": "nothing of it was used in the last two years",
    "no-lead-time": "no supplier offers it now, so nobody knows how long it takes to come",
    "no-priced-offer": "no supplier offers it at a price now",
}


def policy_of(code: str) -> SuggestedPolicy:
    """The policy that follows today for one material. Six queries. Raises NotFound."""
    found = suggested_policies(
        on=timezone.localdate(), materials=Material.objects.filter(code=code)
    )
    if not found:
        raise NotFound(f"There is no material {code}.")
    return found[0]


@transaction.atomic
def adopt_policy(code: str, *, unchanged: Unchanged | None = None, by: By = None) -> Material:
    """Take the suggested reorder point and level of a material as its own.

    Raises NotFound, and StateConflict when nothing is suggested, saying what is missing.
    """
    material = Material.objects.select_for_update().filter(code=code).first()
    if material is None:
        raise NotFound(f"There is no material {code}.")
    if unchanged is not None:
        unchanged(material)
    suggestion = policy_of(code).suggestion
    if suggestion.reorder_point is None:
        missing = " and ".join(_MISSING[gap] for gap in suggestion.gaps)
        raise StateConflict(f"Nothing can be suggested for {material.name}: {missing}.")
    aims = {"reorder_point": suggestion.reorder_point, "reorder_to": suggestion.reorder_to}
    return save_material(changed(material, aims), tuple(aims), by=by)


def settings_of(material: Material | None) -> PolicySettings:
    """The settings of a material, or the studio's own; a new row where there is none yet.

    The revision of a row that is not kept yet is 0. One query.
    """
    row = PolicySettings.objects.filter(material=material).first()
    return row or PolicySettings(material=material, revision=0)


@transaction.atomic
def change_aims(
    material: Material | None, values: Mapping[str, Any], *, unchanged: Unchanged | None = None
) -> PolicySettings:
    """Keep other aims for a material, or for the studio where it is None.

    What is None is taken from the studio's aims, or from the defaults. Raises MaterialRefusal with
    every fault.
    """
    row = PolicySettings.objects.select_for_update().filter(material=material).first()
    row = row or PolicySettings(material=material, revision=0)
    if unchanged is not None:
        unchanged(row)
    for name, value in values.items():
        setattr(row, name, value)
    _check(row)
    row.revision += 1
    row.save()
    return row


def _check(row: PolicySettings) -> None:
    faults = Faults()
    level, share, days = row.service_level, row.holding_share, row.time_to_use_days
    if level is not None and not Decimal("0.5") <= level < 1:
        faults.add("out-of-range", "A service level is from 0.5 to below 1.", "service_level")
    if share is not None and not 0 < share <= 5:
        faults.add("out-of-range", "A holding share is above 0 and at most 5.", "holding_share")
    if row.order_cost is not None and not 0 < row.order_cost <= MAX_MONEY:
        faults.add("out-of-range", "What an order costs is above zero.", "order_cost")
    if days is not None and not 0 <= days <= LONGEST_TIME_TO_USE_DAYS:
        faults.add(
            "out-of-range", f"From 0 to {LONGEST_TIME_TO_USE_DAYS} days.", "time_to_use_days"
        )
    faults.raise_if_any(MaterialRefusal)
