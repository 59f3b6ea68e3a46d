"""The shapes of molds, and the volume of each up to a height.

Lengths are nanometers, volumes nanoliters (10**15 cubic nanometers), all of the inside of the mold.
Straight-sided shapes are computed exactly, round ones in floating point; each volume is rounded
once, half to even. Formulas are those of any handbook of mathematics:
prismatoid V = h/6 (A0 + 4 Am + A1), cylinder V = pi r^2 h,
circular segment A = r^2 acos((r - h)/r) - (r - h) sqrt(2 r h - h^2).
"""

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Protocol

from studio.foundation.errors import Faults

NM3_PER_NL = 10**15
# Beyond a small studio's benches; it also catches a height written in the wrong unit.
LONGEST_NM = 5 * 10**9
LARGEST_NL = 2_000 * 10**9
MOST_CAVITIES = 10_000


class Shape(Protocol):
    """What every mold can tell: its depth and its volume up to a height within it."""

    @property
    def fill_depth_nm(self) -> int | None:
        """The height up to which it can be filled; None when nobody measured it."""

    def volume_up_to(self, height_nm: int) -> int:
        """Volume in nL up to a height from 0 to the depth; not checked here."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RectangularMold:
    """A loaf mold with upright walls."""

    length_nm: int
    width_nm: int
    depth_nm: int

    def __post_init__(self) -> None:
        _check_shape(self, "length_nm", "width_nm", "depth_nm")

    @property
    def fill_depth_nm(self) -> int:
        """The depth."""
        return self.depth_nm

    def volume_up_to(self, height_nm: int) -> int:
        """Length x width x height."""
        return round(Fraction(self.length_nm * self.width_nm * height_nm, NM3_PER_NL))


@dataclass(frozen=True, slots=True, kw_only=True)
class TaperedMold:
    """A loaf mold whose walls lean; the top may be wider or narrower than the bottom."""

    bottom_length_nm: int
    bottom_width_nm: int
    top_length_nm: int
    top_width_nm: int
    depth_nm: int

    def __post_init__(self) -> None:
        _check_shape(
            self,
            "bottom_length_nm",
            "bottom_width_nm",
            "top_length_nm",
            "top_width_nm",
            "depth_nm",
        )

    @property
    def fill_depth_nm(self) -> int:
        """The depth."""
        return self.depth_nm

    def length_at(self, height_nm: int | Fraction) -> Fraction:
        """Inside length at a height, in nm: the walls are straight."""
        return self._between(self.bottom_length_nm, self.top_length_nm, height_nm)

    def width_at(self, height_nm: int | Fraction) -> Fraction:
        """Inside width at a height, in nm."""
        return self._between(self.bottom_width_nm, self.top_width_nm, height_nm)

    def volume_up_to(self, height_nm: int) -> int:
        """Prismatoid between the bottom and the fill line; exact, as the area is quadratic."""
        middle = Fraction(height_nm, 2)
        areas = (
            self.bottom_length_nm * self.bottom_width_nm
            + 4 * self.length_at(middle) * self.width_at(middle)
            + self.length_at(height_nm) * self.width_at(height_nm)
        )
        return round(height_nm * areas / 6 / NM3_PER_NL)

    def _between(self, bottom: int, top: int, height_nm: int | Fraction) -> Fraction:
        return bottom + Fraction(top - bottom) * height_nm / self.depth_nm


@dataclass(frozen=True, slots=True, kw_only=True)
class UprightCylinder:
    """A tube that stands while it is filled."""

    diameter_nm: int
    height_nm: int

    def __post_init__(self) -> None:
        _check_shape(self, "diameter_nm", "height_nm")

    @property
    def fill_depth_nm(self) -> int:
        """The height."""
        return self.height_nm

    def volume_up_to(self, height_nm: int) -> int:
        """Circle x height."""
        return round(math.pi * (self.diameter_nm / 2) ** 2 * height_nm / NM3_PER_NL)


@dataclass(frozen=True, slots=True, kw_only=True)
class LyingCylinder:
    """A tube that lies while it is filled: half of it is a half-round loaf."""

    diameter_nm: int
    length_nm: int

    def __post_init__(self) -> None:
        _check_shape(self, "diameter_nm", "length_nm")

    @property
    def fill_depth_nm(self) -> int:
        """The diameter."""
        return self.diameter_nm

    def volume_up_to(self, height_nm: int) -> int:
        """Circular segment x length; above the middle, the circle less the segment of air."""
        radius = self.diameter_nm / 2
        lower = min(height_nm, self.diameter_nm - height_nm)
        rest = radius - lower
        segment = radius**2 * math.acos(rest / radius) - rest * math.sqrt(
            lower * (self.diameter_nm - lower)
        )
        area = segment if lower == height_nm else math.pi * radius**2 - segment
        return round(area * self.length_nm / NM3_PER_NL)


@dataclass(frozen=True, slots=True, kw_only=True)
class Slab:
    """A shallow rectangle parted by a grid of dividers, which take up room themselves.

    A `divider_nm` of 0 is a slab that is cut, not parted.
    """

    length_nm: int
    width_nm: int
    depth_nm: int
    rows: int
    columns: int
    divider_nm: int = 0

    def __post_init__(self) -> None:
        faults = Faults()
        for name in ("length_nm", "width_nm", "depth_nm"):
            _check_length(faults, getattr(self, name), name)
        for name in ("rows", "columns"):
            _check_count(faults, getattr(self, name), name)
        if self.divider_nm != 0:
            _check_length(faults, self.divider_nm, "divider_nm")
        faults.raise_if_any()
        if self.net_length_nm <= 0 or self.net_width_nm <= 0:
            faults.add("no-room", "The dividers leave no room between them.", "divider_nm")
        faults.raise_if_any()
        _check_volume(faults, full_volume_nl(self))
        faults.raise_if_any()

    @property
    def net_length_nm(self) -> int:
        """Length without the dividers across it."""
        return self.length_nm - (self.columns - 1) * self.divider_nm

    @property
    def net_width_nm(self) -> int:
        """Width without the dividers along it."""
        return self.width_nm - (self.rows - 1) * self.divider_nm

    @property
    def fill_depth_nm(self) -> int:
        """The depth."""
        return self.depth_nm

    def volume_up_to(self, height_nm: int) -> int:
        """Net length x net width x height."""
        return round(Fraction(self.net_length_nm * self.net_width_nm * height_nm, NM3_PER_NL))


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredMold:
    """A mold of any shape whose volume was measured, by filling it with water.

    Where its depth is known too, a fill height counts as its share of the depth, which is exact
    for upright walls only.
    """

    volume_nl: int
    depth_nm: int | None = None

    def __post_init__(self) -> None:
        faults = Faults()
        _check_volume(faults, self.volume_nl)
        if self.depth_nm is not None:
            _check_length(faults, self.depth_nm, "depth_nm")
        faults.raise_if_any()

    @property
    def fill_depth_nm(self) -> int | None:
        """The depth where it is known."""
        return self.depth_nm

    def volume_up_to(self, height_nm: int) -> int:
        """The height's share of the depth, of the volume."""
        return round(Fraction(self.volume_nl * height_nm, self.depth_nm or height_nm))


Cavity = RectangularMold | TaperedMold | UprightCylinder | LyingCylinder | Slab | MeasuredMold


@dataclass(frozen=True, slots=True, kw_only=True)
class CavityMold:
    """A tray of equal cavities, or several equal molds; all are filled to the same height."""

    count: int
    cavity: Cavity

    def __post_init__(self) -> None:
        faults = Faults()
        _check_count(faults, self.count, "count")
        faults.raise_if_any()
        _check_volume(faults, self.count * full_volume_nl(self.cavity))
        faults.raise_if_any()

    @property
    def fill_depth_nm(self) -> int | None:
        """The depth of a cavity."""
        return self.cavity.fill_depth_nm

    def volume_up_to(self, height_nm: int) -> int:
        """Cavities x the volume of one."""
        return self.count * self.cavity.volume_up_to(height_nm)


Mold = Cavity | CavityMold


def full_volume_nl(mold: Shape) -> int:
    """What the mold holds when filled to its rim, in nL."""
    if isinstance(mold, MeasuredMold):
        return mold.volume_nl
    if isinstance(mold, CavityMold):
        return mold.count * full_volume_nl(mold.cavity)
    return mold.volume_up_to(mold.fill_depth_nm or 0)


def _check_shape(mold: Shape, *lengths: str) -> None:
    """Refuse a shape with impossible lengths, telling all of them, or with a huge volume."""
    faults = Faults()
    for name in lengths:
        _check_length(faults, getattr(mold, name), name)
    faults.raise_if_any()
    _check_volume(faults, full_volume_nl(mold))
    faults.raise_if_any()


def _check_length(faults: Faults, length_nm: int, name: str) -> None:
    if length_nm <= 0:
        faults.add("not-positive", "A length must be above zero.", name)
    elif length_nm > LONGEST_NM:
        faults.add("too-long", "No part of a mold is longer than 5 m.", name)


def _check_count(faults: Faults, count: int, name: str) -> None:
    if not 1 <= count <= MOST_CAVITIES:
        faults.add("count-out-of-range", f"From 1 to {MOST_CAVITIES} are possible.", name)


def _check_volume(faults: Faults, volume_nl: int) -> None:
    if volume_nl <= 0:
        faults.add("no-volume", "The mold must hold something.", "volume_nl")
    elif volume_nl > LARGEST_NL:
        faults.add("too-large", "A mold holds at most 2000 L.", "volume_nl")
