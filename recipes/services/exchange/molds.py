"""Molds as a table that goes in and out."""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from studio.work.cleaning import take_field_faults
from recipes.domain.weighing import MOST_BARS
from recipes.models.molds.molds import Mold, MoldShape
from recipes.services.molds.molds import save_mold
from studio.foundation.errors import Faults, InvalidInput
from studio.foundation.roles import Capability
from studio.foundation.tables.columns import Column, Layout, Row
from studio.foundation.tables.kinds import Amount, Choice, Code, Number, Text, Whole, YesNo
from studio.foundation.units.conversion import length_nm, volume_nl
from studio.foundation.units.registry import Dimension
from studio.foundation.units.writing import format_amount
from studio.work.exchange.registry import ExchangeTable, Outcome, Taking, refuse_taken, require

_LENGTHS = (
    "length",
    "width",
    "depth",
    "top_length",
    "top_width",
    "diameter",
    "fill_height",
    "divider",
    "trim",
)
#: What is nothing where it is left out; other sizes are then not known.
_ZERO = frozenset({"divider", "trim"})
_COUNTS = ("cavities", "rows", "columns", "layers")
_PLAIN = ("code", "name", "shape", *_COUNTS, "overfill_share", "note", "active")


def _length(name: str, meaning: str, example: str = "") -> Column:
    kind = Amount((Dimension.LENGTH,), "3 1/2 in")
    return Column(name=name, kind=kind, meaning=meaning, example=example)


def _count(name: str, meaning: str, example: str = "1") -> Column:
    kind = Whole(1, MOST_BARS, "one or more")
    return Column(name=name, kind=kind, meaning=meaning, example=example, empty=1)


LAYOUT = Layout(
    (
        Column(
            name="code",
            kind=Code(),
            meaning="the code by which the mold is found",
            example="loaf-10in",
            needed=True,
        ),
        Column(
            name="name",
            kind=Text(120),
            meaning="its name",
            example="Ten-inch loaf",
            needed=True,
            empty="",
        ),
        Column(
            name="shape",
            kind=Choice(tuple(MoldShape.values)),
            meaning="its shape; a measured one was filled with water, which was weighed",
            example="rectangular",
            needed=True,
        ),
        _length("length", "inner length, of a tapered mold at the bottom", "10 in"),
        _length("width", "inner width, of a tapered mold at the bottom", "3 1/2 in"),
        _length("depth", "inner depth, of a standing tube its height", "2 1/2 in"),
        _length("top_length", "inner length of a tapered mold at the top"),
        _length("top_width", "inner width of a tapered mold at the top"),
        _length("diameter", "inner diameter of a tube"),
        Column(
            name="measured_volume",
            kind=Amount((Dimension.VOLUME,), "120 mL"),
            meaning="volume of a measured mold, of one cavity where it has several",
        ),
        _count("cavities", "how many equal molds or cavities are filled at once; empty: 1"),
        _length("fill_height", "up to where it is filled; empty: to the rim", "2 1/4 in"),
        Column(
            name="overfill_share",
            kind=Number(places=6, unit="a share of 1", percent=True),
            meaning="batter made beyond what fills it",
            example="0.02",
            empty=Decimal(0),
        ),
        _length("divider", "thickness of the dividers of a slab mold"),
        _length("trim", "cut off each end of a loaf", "0.25 in"),
        _count("rows", "bars along the length; empty: 1", "10"),
        _count("columns", "bars along the width; empty: 1"),
        _count("layers", "bars along the height; empty: 1"),
        Column(
            name="active",
            kind=YesNo(),
            meaning="whether it is still used",
            example="yes",
            empty=True,
        ),
        Column(name="note", kind=Text(2000), meaning="anything else", empty=""),
    )
)


def take_mold(rows: Sequence[Row], taking: Taking) -> Outcome:
    """Keep one mold as its row says."""
    (row,) = rows
    kept = Mold.objects.select_for_update().filter(code=row.values["code"]).first()
    if kept is not None:
        refuse_taken(kept.code, taking)
    require(row, LAYOUT, taking, new=kept is None)
    given = _columns(row.values)
    mold = Mold() if kept is None else kept
    if kept is not None and all(getattr(kept, name) == value for name, value in given.items()):
        return Outcome.UNCHANGED
    for name, value in given.items():
        setattr(mold, name, value)
    faults = Faults()
    take_field_faults(faults, mold, only=("code", "name", "note"))
    faults.raise_if_any(InvalidInput)
    # Read by the history of master data, as is known there by this name.
    mold._history_user = taking.by  # type: ignore[attr-defined]
    save_mold(mold)
    return Outcome.CREATED if kept is None else Outcome.CHANGED


def _columns(values: Mapping[str, Any]) -> dict[str, Any]:
    """What a row says, in nm and nL."""
    given = {name: values[name] for name in _PLAIN if name in values}
    for name in _LENGTHS:
        if name in values:
            nothing = 0 if name in _ZERO else None
            given[name] = nothing if values[name] is None else length_nm(values[name])
    if "measured_volume" in values:
        volume = values["measured_volume"]
        given["measured_volume"] = None if volume is None else volume_nl(volume)
    return given


def mold_rows() -> Iterator[Mapping[str, Any]]:
    """All molds. One query."""
    for mold in Mold.objects.order_by("code"):
        yield {
            **{name: getattr(mold, name) for name in _PLAIN},
            **{name: _written(getattr(mold, name), "mm") for name in _LENGTHS},
            "measured_volume": _written(mold.measured_volume, "mL"),
        }


def _written(size: int | None, unit: str) -> str | None:
    return f"{format_amount(size, unit)} {unit}" if size else None


MOLDS = ExchangeTable(
    name="molds",
    title="Molds",
    layout=LAYOUT,
    needed=Capability.PLAN,
    rows=mold_rows,
    take=take_mold,
)
