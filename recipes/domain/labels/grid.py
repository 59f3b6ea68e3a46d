"""Sheets of labels: where each label stands on a page of so many rows and columns.

Lengths in nm from the upper left corner of the paper.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

from studio.foundation.errors import Faults, InvalidInput
from studio.foundation.units.registry import NM_PER_MM

#: Widths and heights: ISO 216 A4; US letter 8 1/2 x 11 in (ANSI/ASME Y14.1), exact.
PAPERS = {"a4": (210 * NM_PER_MM, 297 * NM_PER_MM), "us-letter": (215_900_000, 279_400_000)}
MOST_A_SIDE = 40
MOST_LABELS = 2000
#: What a label must have room for: a few words and a code that a phone can read.
NARROWEST, LOWEST = 25 * NM_PER_MM, 15 * NM_PER_MM


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where one label stands."""

    x_nm: int
    y_nm: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelGrid:
    """The labels of a sheet, as its maker describes it; margins right and below mirror the others.

    Refuses what leaves no room for a label, with all that is wrong.
    """

    paper: str = "a4"
    rows: int = 7
    columns: int = 3
    margin_top_nm: int = 15 * NM_PER_MM
    margin_left_nm: int = 7 * NM_PER_MM
    margin_bottom_nm: int | None = None
    margin_right_nm: int | None = None
    gap_down_nm: int = 0
    gap_across_nm: int = 2 * NM_PER_MM
    start: int = field(default=1)

    def __post_init__(self) -> None:
        faults = Faults()
        if self.paper not in PAPERS:
            faults.add("unknown-paper", "The paper is a4 or letter.", "paper")
        for name in ("rows", "columns"):
            if not 1 <= getattr(self, name) <= MOST_A_SIDE:
                faults.add("count-out-of-range", f"From 1 to {MOST_A_SIDE} are possible.", name)
        for name in ("margin_top", "margin_left", "margin_bottom", "margin_right", "gap_down",
                     "gap_across"):  # fmt: skip
            if (getattr(self, f"{name}_nm") or 0) < 0:
                faults.add("below-zero", "It cannot be below zero.", name)
        faults.raise_if_any(InvalidInput)
        if not 1 <= self.start <= self.rows * self.columns:
            faults.add(
                "no-such-place",
                f"The sheet has places 1 to {self.rows * self.columns}.",
                "start",
            )
        if self.width_nm < NARROWEST:
            faults.add("too-narrow", f"Labels would be {_mm(self.width_nm)} wide.", "columns")
        if self.height_nm < LOWEST:
            faults.add("too-low", f"Labels would be {_mm(self.height_nm)} high.", "rows")
        faults.raise_if_any(InvalidInput)

    @property
    def bottom_nm(self) -> int:
        """The margin below."""
        return self.margin_top_nm if self.margin_bottom_nm is None else self.margin_bottom_nm

    @property
    def width_nm(self) -> int:
        """The width of one label, rounded down."""
        right = self.margin_left_nm if self.margin_right_nm is None else self.margin_right_nm
        room = PAPERS[self.paper][0] - self.margin_left_nm - right
        return (room - (self.columns - 1) * self.gap_across_nm) // self.columns

    @property
    def height_nm(self) -> int:
        """The height of one label, rounded down."""
        room = PAPERS[self.paper][1] - self.margin_top_nm - self.bottom_nm
        return (room - (self.rows - 1) * self.gap_down_nm) // self.rows

    def pages(self, count: int) -> tuple[tuple[Place, ...], ...]:
        """The places of `count` labels, page by page, along the rows; `start` counts from 1.

        Raises InvalidInput for no labels and for more than 2000.
        """
        if not 1 <= count <= MOST_LABELS:
            raise InvalidInput(f"From 1 to {MOST_LABELS} labels are printed.", field="count")
        on_page = self.rows * self.columns
        first = self.start - 1
        numbers = range(first, first + count)
        return tuple(
            tuple(self._place(number % on_page) for number in chunk)
            for chunk in _chunks(numbers, on_page)
        )

    def _place(self, number: int) -> Place:
        row, column = divmod(number, self.columns)
        return Place(
            x_nm=self.margin_left_nm + column * (self.width_nm + self.gap_across_nm),
            y_nm=self.margin_top_nm + row * (self.height_nm + self.gap_down_nm),
        )


def _chunks(numbers: range, on_page: int) -> Iterator[range]:
    at = numbers.start
    while at < numbers.stop:
        end = min((at // on_page + 1) * on_page, numbers.stop)
        yield range(at, end)
        at = end


def _mm(length_nm: int) -> str:
    return f"{length_nm / NM_PER_MM:.1f} mm"
