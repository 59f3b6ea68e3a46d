"""How far what was weighed is from what was planned, line by line."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from recipes.domain.weighing import down_to_step

#: Common practice, no source: alkali and fragrance within 0.5 %, all else within 1 %, and never
#: finer than one step of the scale.
CLOSE, ORDINARY = Decimal("0.005"), Decimal("0.01")
MICRO = Decimal("0.000001")


class Verdict(StrEnum):
    """Where a reading is, seen from its target."""

    INSIDE = "inside"
    OVER = "over"
    UNDER = "under"


@dataclass(frozen=True, slots=True, kw_only=True)
class WeighedLine:
    """A line as planned and as weighed, in stock units; `actual` None is not weighed yet."""

    position: int
    planned: int
    actual: int | None
    tolerance: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Deviation:
    """What a weighed line differs by, in stock units; `share` is the difference over the plan."""

    position: int
    planned: int
    actual: int
    tolerance: int

    @property
    def difference(self) -> int:
        """Above zero when there is more than planned."""
        return self.actual - self.planned

    @property
    def share(self) -> Decimal:
        """The difference as a fraction of what was planned."""
        return (Decimal(self.difference) / self.planned).quantize(MICRO)

    @property
    def is_outside(self) -> bool:
        """Whether it is further off than the tolerance allows."""
        return abs(self.difference) > self.tolerance


def tolerance(planned: int, *, step: int, close: bool) -> int:
    """How much a weight may differ, in the unit of `planned`: a share of it, at least one step.

    `step` is the smallest step that the scale shows; pieces have no tolerance, step 0. `close` is
    for what must be weighed closely, alkali and fragrance.
    """
    if not step:
        return 0
    return max(step, down_to_step(planned * (CLOSE if close else ORDINARY), step))


def verdict(planned: int, actual: int, *, tolerance: int) -> Verdict:
    """Whether a reading is inside the tolerance, its ends included, or on which side outside."""
    if abs(actual - planned) <= tolerance:
        return Verdict.INSIDE
    return Verdict.OVER if actual > planned else Verdict.UNDER


def deviations(lines: Iterable[WeighedLine]) -> tuple[Deviation, ...]:
    """The lines that were weighed and differ from the plan, in their order."""
    return tuple(
        Deviation(
            position=line.position,
            planned=line.planned,
            actual=line.actual,
            tolerance=line.tolerance,
        )
        for line in lines
        if line.actual is not None and line.actual != line.planned
    )
