"""Projected stock against the reorder point: what runs low, by how much, and why.

Which lots count as on hand is the caller's decision: what is expired, blocked or in quarantine
should not be counted. Amounts are nanograms or pieces.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from studio.units import format_amount


@dataclass(frozen=True, slots=True, kw_only=True)
class MaterialSnapshot:
    """One material's stock at a moment, and the unit its amounts are shown in."""

    material: int
    name: str
    unit: str
    on_hand: int
    reserved: int = 0
    planned: int = 0
    on_order: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessment:
    """Whether a material runs low; `numbers` are base units, `reason` is the same in words."""

    material: int
    low: bool
    projected: int
    reorder_point: int
    short_by: int
    numbers: Mapping[str, int]
    reason: str


def project(*, on_hand: int, reserved: int = 0, planned: int = 0, on_order: int = 0) -> int:
    """Stock to be expected: on hand - reserved - planned + on order; below zero when overplanned.

    `planned` is what planned batches need beyond what is already reserved for them.
    """
    return on_hand - reserved - planned + on_order


def assess(snapshot: MaterialSnapshot, *, reorder_point: int | None) -> Assessment:
    """Compare the projected stock with the reorder point.

    Low means at or below a reorder point above zero (the order is due when the position reaches
    it), or below zero whatever the point: planned batches then need more than there will be.
    No point (None) and a point of zero mean the same. `short_by` is what brings the stock back to
    the point.
    """
    projected = project(
        on_hand=snapshot.on_hand,
        reserved=snapshot.reserved,
        planned=snapshot.planned,
        on_order=snapshot.on_order,
    )
    point = max(reorder_point or 0, 0)
    low = projected < 0 or (point > 0 and projected <= point)
    numbers = {
        "on_hand": snapshot.on_hand,
        "reserved": snapshot.reserved,
        "planned": snapshot.planned,
        "on_order": snapshot.on_order,
        "projected": projected,
        "reorder_point": point,
    }
    return Assessment(
        material=snapshot.material,
        low=low,
        projected=projected,
        reorder_point=point,
        short_by=point - projected if low else 0,
        numbers=MappingProxyType(numbers),
        # Words are made only for what runs low: the job looks at thousands of materials.
        reason=_reason(snapshot, projected, point) if low else "",
    )


def _reason(snapshot: MaterialSnapshot, projected: int, point: int) -> str:
    """One sentence that shows the sum behind the verdict."""

    def amount(base: int) -> str:
        return f"{format_amount(base, snapshot.unit)} {snapshot.unit}"

    parts = [f"{amount(snapshot.on_hand)} on hand"]
    if snapshot.reserved:
        parts.append(f"less {amount(snapshot.reserved)} reserved")
    if snapshot.planned:
        parts.append(f"less {amount(snapshot.planned)} for planned batches")
    if snapshot.on_order:
        parts.append(f"plus {amount(snapshot.on_order)} on order")
    total = ", ".join(parts)
    if projected < 0:
        return (
            f"{snapshot.name} will be short by {amount(-projected)}: {total}"
            + (f"; the reorder point is {amount(point)}." if point else ".")
        )
    place = "at" if projected == point else "below"
    return f"{snapshot.name} is {place} its reorder point of {amount(point)}: {total} leaves " + (
        f"{amount(projected)}."
    )
