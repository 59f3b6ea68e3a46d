"""What the studio aims at when it reorders each material."""

from collections.abc import Iterable
from typing import Any

from inventory.domain.buying.policy import Aims
from inventory.models.buying.policies import PolicySettings

FIELDS = ("service_level", "order_cost", "holding_share", "time_to_use_days")


def aims_of(ids: Iterable[int]) -> dict[int, Aims]:
    """The aims by material id: its own, else the studio's, else the defaults. One query.

    The studio's own stand under 0.
    """
    rows = {row.material_id or 0: row for row in PolicySettings.objects.order_by()}
    base = _over(Aims(), rows.get(0))
    return {0: base} | {pk: _over(base, rows.get(pk)) for pk in ids}


def _over(base: Aims, row: PolicySettings | None) -> Aims:
    if row is None:
        return base
    values: dict[str, Any] = {name: getattr(base, name) for name in FIELDS}
    values |= {name: value for name in FIELDS if (value := getattr(row, name)) is not None}
    return Aims(**values)
