"""The columns of the table of recipes, and between its rows and a version as it is written."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from recipes.domain.bench.pours import Layer, Place, Pour
from recipes.domain.cure.drying import LONGEST_DAYS
from recipes.domain.formulas.amount_words import SHARES
from recipes.domain.formulas.formula import LONGEST_NAME, Basis, Portion, Stage
from recipes.errors import FormulaRefusal
from recipes.models.formulas.formulas import FormulaKind, FormulaVersion
from recipes.queries.formulas.formulas import pour_of
from recipes.services.formulas.formulas import LineSpec, VersionSpec
from recipes.services.formulas.version_check import MOST_MINUTES
from studio.foundation.errors import Faults
from studio.foundation.tables.cells import Cell
from studio.foundation.tables.columns import Column, Layout, Row
from studio.foundation.tables.kinds import Amount, Choice, Code, Number, Text, Whole, YesNo
from studio.foundation.units.conversion import mass_ng
from studio.foundation.units.registry import Dimension
from studio.foundation.units.writing import grams

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material

RECIPE, LINE, PORTION, LAYER = "recipe", "line", "portion", "layer"
_PLACES = 6
ALKALIS = ("naoh", "koh", "masterbatch", "water")
Materials = Mapping[str, "Material"]


@dataclass(frozen=True, slots=True)
class WrittenAmount:
    """The amount of a line, and whether it was written in percent."""

    value: Decimal
    percent: bool = False


@dataclass(frozen=True, slots=True)
class LineAmount:
    """The amount of a line, read by its basis."""

    @property
    def words(self) -> str:
        return 'a number with a point before decimals; a share also with a percent sign ("70 %")'

    def read(self, text: str) -> WrittenAmount:
        number = Number(places=_PLACES, unit="", percent=True).read(text)
        return WrittenAmount(number, text.rstrip().endswith("%"))

    def write(self, value: WrittenAmount) -> Cell:
        return value.value


def _share(name: str, meaning: str, example: str = "") -> Column:
    kind = Number(places=_PLACES, unit="a share of 1", percent=True)
    return Column(name, kind, meaning, example)


def _days(name: str, meaning: str, example: str = "") -> Column:
    kind = Whole(0, LONGEST_DAYS, "in days")
    return Column(name, kind, meaning, example)


_MASS = Amount((Dimension.MASS,), "2 lb")


#: What the row of the recipe says of the recipe itself.
FORMULA = (
    Column("name", Text(120), "its name", "Plain olive bar"),
    Column(
        "kind", Choice(tuple(FormulaKind.values)), "soap, or a blend that is only mixed", "soap"
    ),
    Column("product", Code(), "code of the material that it makes; empty: one named after it"),
    Column("least_make", _MASS, "of a blend: the least that is made of it"),
    Column("active", YesNo(), "whether it is still made; empty: yes", "yes"),
    Column("note", Text(4000), "anything else about the recipe"),
)


#: What the row of the recipe says of the version that its lines make.
SETTINGS = (
    Column("naoh", Code(), "code of the NaOH", "sodium-hydroxide"),
    Column("koh", Code(), "code of the KOH, where it has a share"),
    Column("masterbatch", Code(), "code of the stored lye, where one is used"),
    Column("water", Code(), "code of the water of the lye", "water"),
    _share("koh_share", "part of the alkali, by moles, that is KOH; empty: 0"),
    _share("superfat", "part of the fats' alkali demand that is left out", "5 %"),
    _share("lye_concentration", "alkali by mass of the whole lye", "0.33"),
    Column(
        "pour_temperature_c",
        Number(places=3, unit="in degrees Celsius"),
        "temperature at the pour; empty: 40",
        "40",
    ),
    _share("pot_loss_share", "batter that stays in the pot; empty: 0", "0.01"),
    _share("cure_loss_share", "mass that dries off until it is sold; empty: 0", "0.1"),
    _days("cure_days", "days of cure; empty: 0", "42"),
    _days("ready_days", "of a blend: days until it is poured; empty: 0"),
    _share("weekly_loss_limit", "cured once a bar loses less in a week; empty: 0.01"),
    _share("rinse_share", "share of the extra water that rinses the vessel; empty: the usual"),
    Column("resolution", _MASS, "step of the scale, where none is kept; empty: 1 g", "1 g"),
    Column(
        "minutes", Whole(0, MOST_MINUTES, "in minutes"), "labor of a batch; empty: not stated", "90"
    ),
    Column("version_note", Text(4000), "anything else about this version"),
)


_LINE_ONLY = (
    Column("material", Code(), "of a line: code of the material", "olive-oil"),
    Column(
        "basis",
        Choice(tuple(basis.value for basis in Basis)),
        "of a line: what its amount is measured by; the fats of the lye are share-of-fats and "
        "sum to 1, all lines of a blend are of-batter",
        "share-of-fats",
    ),
    Column(
        "amount",
        LineAmount(),
        "of a line: a fraction of 1 where the basis is a share, grams or pieces where it is not",
        "0.7",
    ),
    Column(
        "stage",
        Choice(tuple(stage.value for stage in Stage)),
        "of a line: when it goes in; empty: fats",
        "fats",
    ),
    Column("counts_as_water", YesNo(), "of a line: whether its water is part of the lye's", "no"),
    Column("strained", YesNo(), "of a blend's line: whether it is strained out again", "no"),
)


_PORTION = Column(
    "portion",
    Text(LONGEST_NAME),
    "name of a color portion: what a portion is called, where a line goes into, what a layer pours",
)


_SHARE = _share("share", "of a portion: its part of the batter; of a layer: of its portion")


_LAYER_ONLY = (
    Column(
        "place",
        Choice(tuple(place.value for place in Place)),
        "of a layer: where in the mold; empty: across",
    ),
    Column("pour_note", Text(200), "of a layer: how it is poured"),
)


LAYOUT = Layout(
    (
        Column(
            "code",
            Code(),
            "the code of the recipe, the same in all of its rows",
            "plain-olive",
            needed=True,
        ),
        Column(
            "row",
            Choice((RECIPE, LINE, PORTION, LAYER)),
            "what the row says: the recipe and its lye (once), a line, or how the batter "
            "is split in color portions and poured in layers",
            RECIPE,
            needed=True,
        ),
        *FORMULA,
        *SETTINGS,
        *_LINE_ONLY,
        _PORTION,
        _SHARE,
        *_LAYER_ONLY,
    )
)


#: Which columns a kind of row may fill in.
USED = {
    RECIPE: frozenset(column.name for column in (*FORMULA, *SETTINGS)),
    LINE: frozenset(column.name for column in (*_LINE_ONLY, _PORTION)),
    PORTION: frozenset({"portion", "share"}),
    LAYER: frozenset({"portion", "share", *(column.name for column in _LAYER_ONLY)}),
}


#: What they must fill in, beside what a new recipe needs.
NEEDED = {
    RECIPE: (),
    LINE: ("material", "basis", "amount"),
    PORTION: ("portion", "share"),
    LAYER: ("portion", "share"),
}


_FIRST = {column.name: column.example for column in (*LAYOUT.columns[:2], *FORMULA, *SETTINGS)}


EXAMPLE = (
    _FIRST,
    {
        "code": "plain-olive",
        "row": LINE,
        "material": "olive-oil",
        "basis": "share-of-fats",
        "amount": "70 %",
        "stage": "fats",
    },
    {
        "code": "plain-olive",
        "row": LINE,
        "material": "coconut-oil",
        "basis": "share-of-fats",
        "amount": "0.3",
        "stage": "fats",
    },
)
_SETTINGS = tuple(column.name for column in SETTINGS)
_DEFAULTS = VersionSpec(lines=())
_PLAIN = tuple(
    field.name
    for field in fields(VersionSpec)
    if field.name not in ("lines", "pour", "note", "resolution", *ALKALIS)
)


def codes_in(rows: Sequence[Row]) -> set[str]:
    """The materials that the rows name, beside the one that is made."""
    names = ("material", *ALKALIS)
    return {code for row in rows for name in names if (code := row.values.get(name))}


def any_setting(row: Row) -> bool:
    """Whether the recipe's row says anything of a version."""
    return any(row.values.get(name) not in (None, "") for name in _SETTINGS)


def spec_written(
    head: Row,
    rows: Sequence[Row],
    *,
    materials: Materials,
    kept: VersionSpec | None,
) -> VersionSpec:
    """The version that the rows say; settings of columns that the file lacks stay as `kept`.

    Raises FormulaRefusal with every fault; paths are "rows.N.column".
    """
    faults = Faults()
    lines = []
    for index, row in enumerate(rows):
        if row.values["row"] == LINE:
            line = _line(row, materials, faults, f"rows.{index}")
            if line is not None:
                lines.append(line)
    settings = _settings(head, rows.index(head), materials, kept or _DEFAULTS, faults)
    faults.raise_if_any(FormulaRefusal)
    return VersionSpec(lines=tuple(lines), pour=_pour(rows), **settings)


def spec_of(version: FormulaVersion) -> VersionSpec:
    """A stored version as it is written. No queries where its rows are prefetched."""
    lines = tuple(
        LineSpec(
            material=row.material,
            basis=Basis(row.basis),
            amount=row.amount,
            stage=Stage(row.stage),
            counts_as_water=row.counts_as_water,
            strained=row.strained,
            portion=row.portion,
        )
        for row in version.lines.all()
    )
    named = {name: getattr(version, name) for name in (*_PLAIN, *ALKALIS, "note", "resolution")}
    return VersionSpec(lines=lines, pour=pour_of(version), **named)


def written_settings(spec: VersionSpec) -> dict[str, Any]:
    """What the recipe's row says of a version."""
    return {
        **{name: getattr(spec, name) for name in _PLAIN},
        **{name: made.code if (made := getattr(spec, name)) else None for name in ALKALIS},
        "resolution": grams(spec.resolution),
        "version_note": spec.note,
    }


def written_rows(code: str, spec: VersionSpec) -> Iterator[dict[str, Any]]:
    """The rows below the recipe's own: lines, then portions and layers."""
    for line in spec.lines:
        yield {
            "code": code,
            "row": LINE,
            "material": line.material.code,
            "basis": line.basis.value,
            "amount": WrittenAmount(line.amount),
            "stage": line.stage.value,
            "counts_as_water": line.counts_as_water,
            "strained": line.strained,
            "portion": line.portion,
        }
    for portion in spec.pour.portions:
        yield {"code": code, "row": PORTION, "portion": portion.name, "share": portion.share}
    for layer in spec.pour.layers:
        yield {
            "code": code,
            "row": LAYER,
            "portion": layer.portion,
            "share": layer.share,
            "place": layer.place.value,
            "pour_note": layer.note,
        }


def _line(row: Row, materials: Materials, faults: Faults, under: str) -> LineSpec | None:
    values = row.values
    material = materials.get(values["material"])
    basis, written = Basis(values["basis"]), values["amount"]
    if material is None:
        faults.add(
            "unknown-material", f"There is no material {values['material']}.", f"{under}.material"
        )
    if written.percent and basis not in SHARES:
        faults.add(
            "not-a-share", "This basis takes grams or pieces, not a percent.", f"{under}.amount"
        )
    if material is None:
        return None
    return LineSpec(
        material=material,
        basis=basis,
        amount=written.value,
        stage=Stage(values.get("stage") or Stage.FATS.value),
        counts_as_water=bool(values.get("counts_as_water")),
        strained=bool(values.get("strained")),
        portion=values.get("portion") or "",
    )


def _settings(
    head: Row, index: int, materials: Materials, kept: VersionSpec, faults: Faults
) -> dict[str, Any]:
    values = head.values
    settings: dict[str, Any] = {}
    for name in _PLAIN:
        value = values.get(name, getattr(kept, name))
        settings[name] = getattr(_DEFAULTS, name) if value is None else value
    for name in ALKALIS:
        settings[name] = getattr(kept, name)
        if name in values:
            settings[name] = materials.get(values[name]) if values[name] else None
            if values[name] and settings[name] is None:
                faults.add(
                    "unknown-material",
                    f"There is no material {values[name]}.",
                    f"rows.{index}.{name}",
                )
    settings["resolution"] = kept.resolution
    if "resolution" in values:
        step = values["resolution"]
        settings["resolution"] = _DEFAULTS.resolution if step is None else mass_ng(step)
    settings["note"] = values.get("version_note", kept.note) or ""
    return settings


def _pour(rows: Sequence[Row]) -> Pour:
    portions = tuple(
        Portion(row.values["portion"], row.values["share"])
        for row in rows
        if row.values["row"] == PORTION
    )
    layers = tuple(
        Layer(
            row.values["portion"],
            row.values["share"],
            Place(row.values.get("place") or Place.ACROSS.value),
            row.values.get("pour_note") or "",
        )
        for row in rows
        if row.values["row"] == LAYER
    )
    return Pour(portions, layers)
