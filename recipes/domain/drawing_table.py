"""The table of a drawn mold: its layers with their patterns, and what else is told of it."""

from collections.abc import Sequence
from dataclasses import dataclass

from recipes.domain import drawing_marks as marks
from recipes.domain.drawing_scale import Frame
from recipes.domain.pours import PouredLayer
from studio.units import NM_PER_MM, format_amount

ROW = 22.0
#: Where the table beside a mold begins.
TABLE = 440.0
#: Where the columns of that table stand, from its left edge, and how they are aligned.
_COLUMNS = ((0, "start"), (46, "start"), (278, "start"), (406, "end"), (536, "end"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A layer as the table tells it; `fill` is the number of its pattern."""

    number: int
    poured: PouredLayer
    fill: int


def millimeters(length_nm: float) -> str:
    """A length as text, to a tenth of a millimeter."""
    return f"{length_nm / NM_PER_MM:.1f}".removesuffix(".0") + " mm"


def grams(mass_ng: int) -> str:
    """A mass as text, to a tenth of a gram."""
    return f"{mass_ng / 10**9:.1f} g"


def heights(poured: PouredLayer) -> str:
    """From where to where a layer reaches."""
    if not poured.spans:
        return "-"
    bottom = min(span.bottom_nm for span in poured.spans)
    top = max(span.top_nm for span in poured.spans)
    return f"{format_amount(_tenth(bottom), 'mm')} to {millimeters(top)}"


def table_beside(
    rows: Sequence[Row], facts: Sequence[tuple[str, str]], *, frame: Frame
) -> tuple[list[str], float]:
    """The table at the right of a mold, and how far down it reaches."""
    drawn, y = [], frame.top + 8
    if rows:
        drawn += _cells(y, ("Layer", "Portion", "Where", "Mass", "Height"), weight="bold")
        drawn.append(marks.line(TABLE, y + 7, frame.width - 24, y + 7))
    for row in rows:
        y += ROW
        layer = row.poured.layer
        cells = (str(row.number), layer.portion, layer.place.value, grams(row.poured.mass_ng))
        drawn += [*_cells(y, (*cells, heights(row.poured))), _swatch(TABLE + 20, y, row.fill)]
    for name, value in facts:
        y += ROW
        drawn.append(marks.text(TABLE, y, name, size=12, within=270))
        drawn.append(marks.text(TABLE + 536, y, value, size=12, anchor="end", within=256))
    return drawn, frame.top + (len(rows) + len(facts) + 2) * ROW + 24


def table_below(
    rows: Sequence[Row], facts: Sequence[tuple[str, str]], *, top: float, frame: Frame
) -> tuple[list[str], float]:
    """The table under a mold, and how far down it reaches: layers and facts with their amounts."""
    left, right, size, y = 12.0, frame.width - 12, frame.size, top
    middle = frame.width / 2
    drawn = []
    for row in rows:
        y += ROW
        layer, amount = row.poured.layer, grams(row.poured.mass_ng)
        name = f"{layer.portion}, {layer.place.value}"
        drawn.append(marks.text(left, y, str(row.number), size=size))
        drawn.append(_swatch(left + 22, y, row.fill))
        drawn.append(marks.text(left + 50, y, name, size=size, within=right - left - 140))
        drawn.append(marks.text(right, y, amount, size=size, anchor="end", within=84))
    for name, value in facts:
        y += ROW
        drawn.append(marks.text(left, y, name, size=size, within=middle))
        drawn.append(marks.text(right, y, value, size=size, anchor="end", within=middle - 30))
    return drawn, y + 14


def _swatch(x: float, y: float, fill: int) -> str:
    return (
        f'<rect x="{x:.1f}" y="{y - 11:.1f}" width="18" height="14"'
        f' fill="url(#pour-{fill})" stroke="{marks.INK}" stroke-width="0.8"/>'
    )


def _cells(y: float, cells: Sequence[str], *, weight: str = "normal") -> list[str]:
    return [
        marks.text(
            TABLE + x,
            y,
            words,
            size=12,
            anchor=anchor,
            weight=weight,
            within=224 if index == 1 else None,
        )
        for index, ((x, anchor), words) in enumerate(zip(_COLUMNS, cells, strict=True))
    ]


def _tenth(length_nm: int) -> int:
    step = NM_PER_MM // 10
    return (length_nm + step // 2) // step * step
