"""Cross-sections of molds: outline to draw, and the volume in each third of the width.

Heights and widths in nm; volumes in cubic nm as floats, which are for drawing alone: no weight
comes from here. A section is taken across the log at the middle of its length; a standing tube is
cut through its axis, and its thirds are slices of the circle.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from recipes.domain.molds.shapes import (
    NM3_PER_NL,
    CavityMold,
    LyingCylinder,
    MeasuredMold,
    Mold,
    RectangularMold,
    Slab,
    TaperedMold,
    UprightCylinder,
)
from studio.foundation.errors import InvalidInput

#: A curved wall is drawn through so many points.
CURVE_STEPS = 48
#: A volume is summed over so many slabs of equal height; straight walls are exact with any number.
SLICES = 960


Thirds = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """The section of one cavity: `widths`, `areas`, `volumes` at equal steps, bottom to rim.

    `areas` are the horizontal areas of the three thirds at a height in square nm, `volumes` what
    they hold up to it in cubic nm. `dividers` stand at these places from the left, in nm.
    """

    depth_nm: int
    widths: tuple[float, ...]
    areas: tuple[Thirds, ...]
    volumes: tuple[Thirds, ...]
    dividers: tuple[tuple[float, float], ...] = ()
    cavities: int = 1
    schematic: bool = False

    @property
    def width_nm(self) -> float:
        """The greatest width."""
        return max(self.widths)

    @property
    def is_straight(self) -> bool:
        """Whether its walls are straight lines, upright or leaning."""
        middle = (self.widths[0] + self.widths[-1]) / 2
        return abs(self.widths[SLICES // 2] - middle) <= self.width_nm / 1000

    def width_at(self, height_nm: float) -> float:
        """Inside width at a height."""
        step, rest = self._step(height_nm)
        low, high = self.widths[step], self.widths[step + 1]
        return low + (high - low) * rest

    def third_at(self, third: int, height_nm: float) -> tuple[float, float]:
        """Where a third begins and ends at a height, in nm from the middle."""
        half, edge = self.width_at(height_nm) / 2, self.width_nm / 6
        edges = (-half, max(-half, -edge), min(half, edge), half)
        return edges[third], edges[third + 1]

    def area(
        self, bottom_nm: float, top_nm: float, *, third: int | None = None
    ) -> list[tuple[float, float]]:
        """What lies between two heights (in one third), up its left edge and down its right one.

        Points in nm, across from the middle and up from the bottom; as many on either edge.
        """
        heights = [bottom_nm, top_nm]
        if not self.is_straight:
            turns = [math.cos(math.pi * step / CURVE_STEPS) for step in range(CURVE_STEPS + 1)]
            heights = [bottom_nm + (top_nm - bottom_nm) * (1 - turn) / 2 for turn in turns]
        ends = []
        for height in heights:
            half = self.width_at(height) / 2
            ends.append((-half, half) if third is None else self.third_at(third, height))
        left = [(start, height) for (start, _), height in zip(ends, heights, strict=True)]
        right = [(end, height) for (_, end), height in zip(ends, heights, strict=True)]
        return left + right[::-1]

    def volume_of_third(self, third: int, height_nm: float) -> float:
        """Volume of one third up to a height, by the trapezoidal rule."""
        step, rest = self._step(height_nm)
        low, high = self.areas[step][third], self.areas[step + 1][third]
        slab = self.depth_nm / SLICES
        return self.volumes[step][third] + (low + (high - low) * rest / 2) * rest * slab

    def volume(self, height_nm: float) -> float:
        """Volume of all thirds up to a height."""
        return sum(self.volume_of_third(third, height_nm) for third in range(3))

    def _step(self, height_nm: float) -> tuple[int, float]:
        place = min(max(height_nm / self.depth_nm, 0.0), 1.0) * SLICES
        step = min(int(place), SLICES - 1)
        return step, place - step


def section_of(mold: Mold) -> Section:
    """The section of a mold, or of one cavity of it.

    A mold that was only measured is drawn as a box of its volume and depth (schematic); raises
    InvalidInput where its depth is not known either.
    """
    match mold:
        case CavityMold():
            return replace(section_of(mold.cavity), cavities=mold.count)
        case Slab():
            return _slab(mold)
        case MeasuredMold():
            return _measured(mold)
        case RectangularMold():
            return _box(mold.width_nm, mold.width_nm * mold.length_nm, mold.depth_nm)
        case TaperedMold() | LyingCylinder() | UprightCylinder():
            return _round_or_leaning(mold)


def _round_or_leaning(mold: TaperedMold | LyingCylinder | UprightCylinder) -> Section:
    match mold:
        case TaperedMold():
            return _sampled(
                mold.depth_nm,
                lambda h: float(mold.width_at(h)),
                lambda h: float(mold.length_at(h)),
            )
        case LyingCylinder():
            return _sampled(
                mold.diameter_nm,
                lambda h: 2 * math.sqrt(max(h * (mold.diameter_nm - h), 0)),
                lambda h: float(mold.length_nm),
            )
        case UprightCylinder():
            return _tube(mold)


def _section(depth_nm: int, widths: Sequence[float], areas: Sequence[Thirds]) -> Section:
    slab, volumes = depth_nm / SLICES, [(0.0, 0.0, 0.0)]
    for low, high in pairwise(areas):
        left, middle, right = (
            below + (a + b) / 2 * slab for below, a, b in zip(volumes[-1], low, high, strict=True)
        )
        volumes.append((left, middle, right))
    return Section(
        depth_nm=depth_nm, widths=tuple(widths), areas=tuple(areas), volumes=tuple(volumes)
    )


def _box(width: float, area: float, depth_nm: int) -> Section:
    steps = SLICES + 1
    return _section(depth_nm, [float(width)] * steps, [(area / 3, area / 3, area / 3)] * steps)


def _slab(mold: Slab) -> Section:
    field = mold.net_width_nm / mold.rows
    starts = [row * field + (row - 1) * mold.divider_nm for row in range(1, mold.rows)]
    box = _box(mold.width_nm, mold.net_width_nm * mold.net_length_nm, mold.depth_nm)
    if not mold.divider_nm:
        return box
    return replace(box, dividers=tuple((start, start + mold.divider_nm) for start in starts))


def _measured(mold: MeasuredMold) -> Section:
    if mold.depth_nm is None:
        raise InvalidInput(
            "This mold was measured and its depth is not known, so there is nothing to draw; "
            "give its depth.",
            field="depth",
        )
    area = mold.volume_nl * NM3_PER_NL / mold.depth_nm
    return replace(_box(math.sqrt(area), area, mold.depth_nm), schematic=True)


def _tube(mold: UprightCylinder) -> Section:
    radius = mold.diameter_nm / 2
    edge = radius / 3
    # area of the circle between x = -r/3 and x = r/3: 2 (x sqrt(r^2 - x^2) + r^2 asin(x/r))
    middle = 2 * (edge * math.sqrt(radius**2 - edge**2) + radius**2 * math.asin(edge / radius))
    side = (math.pi * radius**2 - middle) / 2
    steps = SLICES + 1
    return _section(
        mold.height_nm, [float(mold.diameter_nm)] * steps, [(side, middle, side)] * steps
    )


def _sampled(
    depth_nm: int, width: Callable[[int], float], length: Callable[[int], float]
) -> Section:
    """Thirds of the greatest width, each as wide at a height as the walls leave of it."""
    heights = [depth_nm * step // SLICES for step in range(SLICES + 1)]
    widths = [width(height) for height in heights]
    widest = max(widths)
    areas = []
    for height, here in zip(heights, widths, strict=True):
        middle, side = min(here, widest / 3), max(here - widest / 3, 0.0) / 2
        along = length(height)
        areas.append((side * along, middle * along, side * along))
    return _section(depth_nm, widths, areas)
