"""Materials as a table that goes in and out."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from inventory.domain.catalog.descriptions import ALKALIES, MaterialDescription
from inventory.domain.catalog.fatty_acids import read_fatty_acid
from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.stock.freshness import LONGEST_SHELF_LIFE_DAYS
from inventory.models.catalog.materials import Material
from inventory.services.catalog.materials import describe, save_material
from inventory.services.exchange.columns import (
    amount_column,
    density_columns,
    share,
    share_column,
    stock_text,
    text_column,
    value_column,
    yes_no_column,
)
from studio.foundation.errors import Faults, InvalidInput, Refusal
from studio.foundation.roles import Capability
from studio.foundation.tables.cells import Cell
from studio.foundation.tables.columns import Column, Layout, Row
from studio.foundation.tables.kinds import Amount, Choice, Code, Number, Text, Whole
from studio.foundation.tables.listed import Listed, as_mapping
from studio.foundation.units.conversion import mass_ng, stock_amount
from studio.foundation.units.registry import Dimension
from studio.work.exchange.registry import ExchangeTable, Outcome, Taking, refuse_taken, require

_KEPT_AS_READ = (
    "code",
    "name",
    "counted",
    "inci_name",
    "density_g_ml",
    "density_temperature_c",
    "sv_mg_koh_g",
    "sv_low_mg_koh_g",
    "sv_high_mg_koh_g",
    "iodine_value",
    "water_share",
    "fat_share",
    "alkali",
    "purity",
    "acid_naoh_g_per_g",
    "ifra_category9_max",
    "tempering",
    "shelf_life_days",
    "low_stock_alerts",
    "active",
    "note",
)
_IN_STOCK_UNITS = ("reorder_point", "reorder_to", "shelf_space")


@dataclass(frozen=True, slots=True)
class FattyAcid:
    """A fatty acid by its shorthand or trivial name."""

    @property
    def words(self) -> str:
        return "C12:0, C18:1-OH or a trivial name such as lauric"

    def read(self, text: str) -> str:
        return read_fatty_acid(text)

    def write(self, value: str) -> Cell:
        return value


LAYOUT = Layout(
    (
        Column(
            name="code",
            kind=Code(),
            meaning="the code by which it is found everywhere",
            example="olive-oil",
            needed=True,
        ),
        Column(
            name="name",
            kind=Text(120),
            meaning="its name",
            example="Olive oil",
            needed=True,
            empty="",
        ),
        Column(
            name="kind",
            kind=Choice(tuple(kind.value for kind in MaterialKind)),
            meaning="what part it plays",
            example="fat",
            needed=True,
        ),
        yes_no_column(
            "counted",
            "whether it is counted in pieces instead of weighed",
            empty=False,
            example="no",
        ),
        Column(
            name="piece_mass",
            kind=Amount((Dimension.MASS,), "50 g"),
            meaning="usable mass of one piece of what is counted, an egg without its shell",
        ),
        text_column("inci_name", 200, "INCI name for labels", "Olea Europaea Fruit Oil"),
        *density_columns("as a rule"),
        value_column("sv_mg_koh_g", "mg KOH per g", "saponification value (ISO 3657)", "190"),
        value_column("sv_low_mg_koh_g", "mg KOH per g", "lowest usual saponification value", "184"),
        value_column(
            "sv_high_mg_koh_g", "mg KOH per g", "highest usual saponification value", "196"
        ),
        value_column("iodine_value", "g iodine per 100 g", "iodine value (ISO 3961)", "82"),
        Column(
            name="fatty_acids",
            kind=Listed(
                first=FattyAcid(),
                second=share("a share of all fatty acids"),
                example="C16:0 0.12; C18:1 0.72",
            ),
            meaning="fatty acids with their shares of all fatty acids",
            example="C16:0 0.12; C18:0 0.03; C18:1 0.72; C18:2 0.1",
            empty=(),
        ),
        share_column("water_share", "water in it, by mass"),
        share_column("fat_share", "fat in what is no fat itself (milk, egg), by mass"),
        Column(
            name="alkali",
            kind=Choice(ALKALIES),
            meaning="which alkali it is, or is a lye of",
            empty="",
        ),
        share_column("purity", "pure alkali in it, by mass: needed for an alkali"),
        Column(
            name="acid_naoh_g_per_g",
            kind=Number(places=6, unit="in g NaOH per g"),
            meaning="NaOH that one gram of an acid neutralizes",
        ),
        share_column("ifra_category9_max", "certified maximum in finished soap, IFRA category 9"),
        yes_no_column(
            "tempering",
            "whether it brings protein that lye would cook (egg, milk)",
            empty=False,
            example="no",
        ),
        Column(
            name="shelf_life_days",
            kind=Whole(1, LONGEST_SHELF_LIFE_DAYS, "in days"),
            meaning="how long it keeps from the day it comes in",
            example="540",
        ),
        amount_column("reorder_point", "at or below this it is to be bought again", "5 kg"),
        amount_column("reorder_to", "up to this it is bought", "20 kg"),
        amount_column("shelf_space", "the most there is room for"),
        yes_no_column(
            "low_stock_alerts",
            "whether low stock raises an alert; empty: for what is bought, not for what is made",
            empty=None,
            example="yes",
        ),
        yes_no_column("active", "whether it is still used", empty=True, example="yes"),
        text_column("note", 2000, "anything else"),
    )
)


def take_material(rows: Sequence[Row], taking: Taking) -> Outcome:
    """Keep one material as its row says."""
    (row,) = rows
    code = row.values["code"]
    kept = Material.objects.prefetch_related("fatty_acids").filter(code=code).first()
    if kept is not None:
        refuse_taken(code, taking)
    require(row, LAYOUT, taking, new=kept is None)
    was = None if kept is None else describe(kept)
    given = _given(row, was)
    described = MaterialDescription(**given) if was is None else replace(was, **given)
    described = replace(described, low_stock_alerts=described.alerts_on)
    if described == was:
        return Outcome.UNCHANGED
    save_material(described, material_id=kept.pk if kept else None, by=taking.by)
    return Outcome.CREATED if kept is None else Outcome.CHANGED


def _given(row: Row, was: MaterialDescription | None) -> dict[str, Any]:
    """What a row says, as a description takes it."""
    values = row.values
    given = {name: values[name] for name in _KEPT_AS_READ if name in values}
    if "kind" in values:
        given["kind"] = MaterialKind(values["kind"])
    faults = Faults()
    if "fatty_acids" in values:
        try:
            given["fatty_acids"] = as_mapping(values["fatty_acids"])
        except InvalidInput as refusal:
            faults.take(refusal, "fatty_acids")
    if "piece_mass" in values:
        mass = values["piece_mass"]
        given["piece_mass"] = None if mass is None else mass_ng(mass)
    _give_amounts(given, values, was, faults)
    faults.raise_if_any(InvalidInput)
    return given


def _give_amounts(
    given: dict[str, Any],
    values: Mapping[str, Any],
    was: MaterialDescription | None,
    faults: Faults,
) -> None:
    """Amounts in the stock unit that the material has, or gets by this row."""
    counted = given.get("counted", was.counted if was else False)
    density: Decimal | None = given.get("density_g_ml", was.density_g_ml if was else None)
    for name in _IN_STOCK_UNITS:
        quantity = values.get(name)
        if name in values:
            given[name] = None
        if quantity is None:
            continue
        try:
            given[name] = stock_amount(quantity, counted=counted, density_g_ml=density)
        except Refusal as refusal:
            faults.take(refusal, name)


def material_rows() -> Iterator[Mapping[str, Any]]:
    """All materials. Two queries."""
    materials: Iterable[Material] = Material.objects.prefetch_related("fatty_acids").order_by(
        "code"
    )
    for material in materials:
        described = describe(material)
        yield {
            **{name: getattr(described, name) for name in _KEPT_AS_READ},
            "kind": described.kind.value,
            "fatty_acids": sorted(described.fatty_acids.items()),
            "piece_mass": stock_text(described.piece_mass, counted=False),
            **{
                name: stock_text(getattr(described, name), counted=material.counted)
                for name in _IN_STOCK_UNITS
            },
        }


MATERIALS = ExchangeTable(
    name="materials",
    title="Materials",
    layout=LAYOUT,
    needed=Capability.KEEP_STOCK,
    rows=material_rows,
    take=take_material,
)
