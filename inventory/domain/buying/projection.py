"""Projected stock against the reorder point: what runs low, by how much, and why.

Which lots count as on hand is the caller's decision: what is expired, blocked or in quarantine
should not be counted. Amounts are nanograms, or pieces where the material is counted.
"""

from dataclasses import dataclass

from studio.foundation.units.writing import friendly_mass


@dataclass(frozen=True, slots=True, kw_only=True)
class MaterialSnapshot:
    """One material's stock at a moment; `planned` is beyond what is already reserved."""

    material: int
    name: str
    counted: bool = False
    on_hand: int = 0
    reserved: int = 0
    planned: int = 0
    on_order: int = 0
    being_made: int = 0

    @property
    def projected(self) -> int:
        """Stock to be expected; below zero when more is planned than there will be."""
        return project(
            on_hand=self.on_hand,
            reserved=self.reserved,
            planned=self.planned,
            on_order=self.on_order,
            being_made=self.being_made,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessment:
    """Whether a material runs low, the numbers behind that, and the same in a maker's words."""

    snapshot: MaterialSnapshot
    low: bool
    projected: int
    reorder_point: int
    short_by: int
    reason: str


def project(
    *, on_hand: int, reserved: int = 0, planned: int = 0, on_order: int = 0, being_made: int = 0
) -> int:
    """Stock to be expected: on hand - reserved - planned + on order + being made.

    `planned` is what planned batches need beyond what is already reserved for them; `being_made`
    what planned batches will make of it.
    """
    return on_hand - reserved - planned + on_order + being_made


def assess(snapshot: MaterialSnapshot, reorder_point: int | None) -> Assessment:
    """Compare the projected stock with the reorder point.

    Low means at or below the point, since an order is due when the position reaches it; without a
    point, low means below zero. `short_by` brings the stock back to the point (to zero without
    one). `reason` is empty unless the material runs low.
    """
    projected = snapshot.projected
    low = projected < 0 if reorder_point is None else projected <= reorder_point
    point = reorder_point or 0
    return Assessment(
        snapshot=snapshot,
        low=low,
        projected=projected,
        reorder_point=point,
        short_by=point - projected if low else 0,
        # Words are made only for what runs low: the job looks at thousands of materials.
        reason=_reason(snapshot, projected, reorder_point) if low else "",
    )


def _reason(snapshot: MaterialSnapshot, projected: int, reorder_point: int | None) -> str:
    """One sentence that shows the sum behind the verdict."""

    def words(amount: int) -> str:
        return str(amount) if snapshot.counted else friendly_mass(amount)

    terms = [f"{words(snapshot.on_hand)} on hand"]
    if snapshot.reserved:
        terms.append(f"less {words(snapshot.reserved)} reserved")
    if snapshot.planned:
        terms.append(f"less {words(snapshot.planned)} for planned batches")
    if snapshot.on_order:
        terms.append(f"plus {words(snapshot.on_order)} on order")
    if snapshot.being_made:
        terms.append(f"plus {words(snapshot.being_made)} being made")
    if projected < 0:
        left = f"{words(-projected)} is missing"
    else:
        left = f"leaves {words(projected) if projected else 'nothing'}"
    sentence = f"{snapshot.name}: {', '.join(terms)}: {left}"
    if reorder_point is None:
        return f"{sentence}."
    place = "at" if projected == reorder_point else "below"
    return f"{sentence}, {place} the reorder point of {words(reorder_point)}."
