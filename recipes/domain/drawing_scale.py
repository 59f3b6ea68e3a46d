"""From lengths in a mold to lengths on a drawing, and the two frames that a mold is drawn in."""

import math
from dataclasses import dataclass

from recipes.domain.sections import Section

CURVE_STEPS = 48
#: A side that would be drawn shorter than this is stretched, by no more than so many times.
SHORTEST, STRETCH = 130.0, 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """Where the mold stands in a drawing, in user units, and the size of the words about it."""

    width: float
    room: tuple[float, float]
    left: float
    top: float
    size: float


#: On paper, with a table beside the mold; and on a page, where text is drawn about as large as it
#: will be read.
WIDE = Frame(width=1000.0, room=(300.0, 240.0), left=40.0, top=64.0, size=12.0)
NARROW = Frame(width=352.0, room=(232.0, 200.0), left=20.0, top=12.0, size=13.0)


class Scale:
    """From nm in the mold to units on the page; y grows downward."""

    def __init__(self, section: Section, frame: Frame) -> None:
        self.section, self.frame = section, frame
        even = min(frame.room[0] / section.width_nm, frame.room[1] / section.depth_nm)
        self.width = _stretched(section.width_nm * even)
        self.height = _stretched(section.depth_nm * even)
        self.across, self.up = self.width / section.width_nm, self.height / section.depth_nm
        self.middle = frame.left + frame.room[0] / 2

    @property
    def is_even(self) -> bool:
        """Whether width and height are drawn to one scale."""
        return abs(self.across - self.up) < self.up / 1000

    def x(self, from_middle_nm: float) -> float:
        return self.middle + from_middle_nm * self.across

    def y(self, height_nm: float) -> float:
        return self.frame.top + self.height - height_nm * self.up

    def steps(self, bottom_nm: float, top_nm: float) -> list[float]:
        """Heights at which a wall between two heights is drawn."""
        if self.section.is_straight:
            return [bottom_nm, top_nm]
        turns = (math.cos(math.pi * i / CURVE_STEPS) for i in range(CURVE_STEPS + 1))
        return [bottom_nm + (top_nm - bottom_nm) * (1 - turn) / 2 for turn in turns]


def _stretched(side: float) -> float:
    return max(side, min(SHORTEST, side * STRETCH))
