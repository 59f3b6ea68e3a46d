"""Sections of Today: each app says what it has to show, the page shows it.

An app registers in its `AppConfig.ready()`:

    from studio.web.pages.panels import SECTIONS, Column, Panel, Section

    SECTIONS.register(Section("low-stock", low_stock_panel, order=10))

where `low_stock_panel(user)` returns a `Panel`, with a fixed number of queries. It is called for
people with a role only. What its `now` names joins the one answer on top of the page.
It must keep costs from those who may not see them (`studio.foundation.roles.may_see_costs(user)`).
"""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from operator import attrgetter
from typing import Any

from studio.foundation.registry import Registry


class State(StrEnum):
    """How a thing stands; shown as word, shape and color together."""

    PLAIN = "plain"  # nothing to do yet
    SOON = "soon"


@dataclass(frozen=True, slots=True)
class Column:
    """A column's heading; numbers stand right-aligned with even figures.

    A `spare` column is left out where the page is narrow; a `whole` one is never wrapped.
    """

    label: str
    number: bool = False
    spare: bool = False
    whole: bool = False

    @property
    def css(self) -> str:
        """The classes of its cells."""
        named = (("number", self.number), ("spare", self.spare), ("whole", self.whole))
        return " ".join(name for name, on in named if on)


@dataclass(frozen=True, slots=True)
class Cell:
    """A cell with more than text: a link, or a state."""

    text: str
    href: str = ""
    state: State | None = None


@dataclass(frozen=True, slots=True)
class Panel:
    """A question and its answer: `answer` is one sentence, the rows are the evidence."""

    title: str
    answer: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str | Cell, ...], ...]
    empty: str
    more: str = ""  # address where all of it stands
    now: tuple[str, ...] = ()  # what of it is to be done today, in few words: "2 batches to weigh"
    chart: Any = None  # a Chart of studio.foundation.drawing that stands above the rows

    def lines(self) -> list[list[tuple[Column, Cell]]]:
        """Rows as the template draws them: each cell beside its column."""
        return [
            [
                (column, cell if isinstance(cell, Cell) else Cell(str(cell)))
                for column, cell in zip(self.columns, row, strict=True)
            ]
            for row in self.rows
        ]


@dataclass(frozen=True, slots=True)
class Section:
    """What builds a panel for a person; smaller `order` stands higher."""

    name: str
    build: Callable[[Any], Panel]
    order: int = 100


SECTIONS = Registry[Section](order=attrgetter("order", "name"))


def panels_for(user: Any) -> list[Panel]:
    """All panels, built for this person, in their order."""
    return [section.build(user) for section in SECTIONS]
