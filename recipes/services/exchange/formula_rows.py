"""Between the rows of a recipe's table and a version as it is written."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields
from typing import TYPE_CHECKING, Any

from recipes.domain.bench.pours import Layer, Place, Pour
from recipes.domain.formulas.formula import Basis, Stage
from recipes.domain.formulas.portions import Portion
from recipes.errors import FormulaRefusal
from recipes.models.formulas.formulas import FormulaVersion
from recipes.queries.formulas.formulas import pour_of
from recipes.services.exchange.formula_columns import LAYER, LINE, PORTION, SETTINGS, WrittenAmount
from recipes.services.formulas.formulas import LineSpec, VersionSpec
from studio.foundation.errors import Faults
from studio.foundation.tables.columns import Row
from studio.foundation.units.conversion import mass_ng
from studio.foundation.units.writing import grams

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material

ALKALIS = ("naoh", "koh", "masterbatch", "water")
SHARE_BASES = frozenset({Basis.SHARE_OF_FATS, Basis.OF_FATS, Basis.OF_BATTER, Basis.OF_PORTION})
_SETTINGS = tuple(column.name for column in SETTINGS)
_DEFAULTS = VersionSpec(lines=())
_PLAIN = tuple(
    field.name
    for field in fields(VersionSpec)
    if field.name not in ("lines", "pour", "note", "resolution", *ALKALIS)
)
Materials = Mapping[str, "Material"]


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
    if written.percent and basis not in SHARE_BASES:
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
