"""On which of the studio's scales a mass is weighed, and what that scale can show of it.

Common practice, no source: each thing is weighed on the finest scale that holds it, what no scale
holds in several goes on the one that holds most. The tare of the vessel is not known here: a pot
that weighs much takes its part of what a scale holds, and whoever weighs sees that.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from recipes.domain.weighing import down_to_step, nearest_whole, to_step, up_to_step


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """A scale: the step that it shows and the most that it holds, in ng."""

    name: str
    step_ng: int
    capacity_ng: int

    @property
    def most_ng(self) -> int:
        """The heaviest that it can show: whole steps within its capacity."""
        return self.capacity_ng // self.step_ng * self.step_ng


@dataclass(frozen=True, slots=True, kw_only=True)
class OnScale:
    """How a mass is weighed: in `goes` goes on a scale, in steps of `step_ng`.

    `scale` is None where the studio keeps none: then the recipe says the step.
    """

    step_ng: int
    scale: Scale | None = None
    goes: int = 1

    @property
    def name(self) -> str:
        """The scale's name; "" where none is kept."""
        return self.scale.name if self.scale else ""

    @property
    def room_ng(self) -> int:
        """By how much what was read may be off: one step of the scale for each go."""
        return self.step_ng * self.goes

    def shows(self, mass_ng: int) -> bool:
        """Whether the mass is at least one step of the scale, once it is rounded to it."""
        return to_step(Decimal(mass_ng), self.step_ng) != 0


def finest(scales: Iterable[Scale], mass: Decimal) -> Scale | None:
    """The scale with the smallest step of those that hold a mass (in ng); None where none does."""
    holding = (scale for scale in scales if mass <= scale.most_ng)
    return min(holding, key=_fineness, default=None)


def _fineness(scale: Scale) -> tuple[int, int, str]:
    return scale.step_ng, scale.most_ng, scale.name


@dataclass(frozen=True, slots=True, kw_only=True)
class Scales:
    """The scales that a studio keeps; `step_ng` is that of the recipe, for where it keeps none."""

    step_ng: int = 1_000_000_000
    kept: tuple[Scale, ...] = ()

    @property
    def finest_step_ng(self) -> int:
        """The smallest step that there is."""
        return min((scale.step_ng for scale in self.kept), default=self.step_ng)

    def on(self, mass: Decimal | int) -> OnScale:
        """How a mass in ng is weighed, of which nothing is left out."""
        wanted = Decimal(mass)
        if not self.kept:
            return OnScale(step_ng=self.step_ng)
        if (scale := finest(self.kept, wanted)) is not None:
            return OnScale(step_ng=scale.step_ng, scale=scale)
        largest = max(self.kept, key=lambda scale: (scale.most_ng, -scale.step_ng, scale.name))
        goes = -(-nearest_whole(wanted) // largest.most_ng)
        return OnScale(step_ng=largest.step_ng, scale=largest, goes=goes)

    def nearest(self, mass: Decimal) -> int:
        """The mass in ng as it is weighed: to the nearest step of its scale.

        What is less than that scale can show stays as it is, to the nanogram, rather than be left
        out (see `OnScale.shows`).
        """
        return to_step(mass, self.on(mass).step_ng) or nearest_whole(mass)

    def down(self, mass: Decimal) -> int:
        """The mass in ng to the step of its scale at or below: of alkali, never more than asked."""
        return down_to_step(mass, self.on(mass).step_ng)

    def up(self, mass: Decimal) -> int:
        """The mass in ng to the step of its scale at or above."""
        return up_to_step(mass, self.on(mass).step_ng)

    def room_ng(self, mass_ng: int, *, pieces: int = 1) -> int:
        """By how much the weight of some pieces may be off, in ng; nobody says how they were
        weighed, so the larger of two: each by itself, or all together.
        """
        if not pieces:
            return 0
        each = self.on(Decimal(mass_ng) / pieces).room_ng * pieces
        return max(each, self.on(mass_ng).room_ng)


#: An ordinary kitchen scale.
ONE_GRAM = Scales()


def as_scales(scales: Scales | int) -> Scales:
    """A bare step in ng stands for a scale that holds everything."""
    return Scales(step_ng=scales) if isinstance(scales, int) else scales
