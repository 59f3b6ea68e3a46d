"""Put the invented studio's materials, suppliers, offers, molds and recipes on the shelf."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from inventory.domain.catalog.packs import PriceBreak
from inventory.queries.catalog.materials import materials_by_code
from inventory.services.catalog.materials import add_material
from inventory.services.catalog.suppliers import OfferDescription, add_supplier, save_offer
from recipes.domain.bench.pours import Layer, Place, Pour
from recipes.domain.formulas.formula import Basis, Portion, Stage
from recipes.services.formulas.formulas import LineSpec, VersionSpec, add_formula, add_version
from recipes.services.molds.molds import add_mold
from recipes.services.scales.scales import add_scale
from studio.foundation.money import parse_money
from studio.foundation.units.conversion import length_nm, mass_ng, volume_nl
from studio.foundation.units.grammar import parse_quantity
from studio.foundation.units.registry import Dimension
from studio.management.demo.scenario import materials, read

Table = Mapping[str, Any]

_LENGTHS = (
    "length",
    "width",
    "depth",
    "top_length",
    "top_width",
    "diameter",
    "fill_height",
    "trim",
    "divider",
)
_SHARES = (
    "koh_share",
    "superfat",
    "lye_concentration",
    "pour_temperature_c",
    "pot_loss_share",
    "cure_loss_share",
)
_COUNTS = ("cure_days", "ready_days", "minutes")
_SUMS = ("minimum_order", "freight", "free_freight_from")
_ALKALIS = ("naoh", "koh", "masterbatch", "water")


def load_shelf() -> None:
    """Materials, then suppliers, then their offers."""
    shelf = read("demo/shelf")
    for described in materials(shelf["material"]):
        add_material(**described)
    for table in shelf["supplier"]:
        sums = {name: parse_money(table[name]) for name in _SUMS if name in table}
        add_supplier(**{**table, **sums})
    for table in shelf["offer"]:
        save_offer(_offer(table))


def load_recipes() -> None:
    """Scales and molds, then recipes with one version each."""
    recipes = read("demo/recipes")
    for table in recipes["scale"]:
        add_scale(**_scale(table))
    for table in recipes["mold"]:
        add_mold(**_mold(table))
    for table in recipes["formula"]:
        known = materials_by_code(_named(table))
        product = table.get("product")
        formula = add_formula(
            code=table["code"],
            name=table["name"],
            kind=table.get("kind", "soap"),
            product=known[product] if product else None,
            note="Invented for the demonstration.",
        )
        add_version(formula, _version(table, known))


def _offer(table: Table) -> OfferDescription:
    values = dict(table)
    values["pack_written"] = values.pop("pack")
    values["price"] = parse_money(values["price"])
    values["breaks"] = [
        PriceBreak(each["from_packs"], parse_money(each["price"]))
        for each in values.pop("breaks", ())
    ]
    for name in ("density_g_ml", "density_temperature_c"):
        if name in values:
            values[name] = Decimal(values[name])
    return OfferDescription(**values)


def _mold(table: Table) -> dict[str, Any]:
    values = dict(table)
    for name in _LENGTHS:
        if name in values:
            values[name] = length_nm(parse_quantity(values[name], Dimension.LENGTH))
    if "measured_volume" in values:
        values["measured_volume"] = volume_nl(
            parse_quantity(values["measured_volume"], Dimension.VOLUME)
        )
    if "overfill_share" in values:
        values["overfill_share"] = Decimal(values["overfill_share"])
    return values


def _scale(table: Table) -> dict[str, Any]:
    masses = {
        name: mass_ng(parse_quantity(table[name], Dimension.MASS)) for name in ("step", "capacity")
    }
    return {**table, **masses, "note": "Invented for the demonstration."}


def _named(table: Table) -> set[str]:
    """The codes of all materials that a recipe names."""
    named = {line["material"] for line in table["lines"]}
    return named | {table[name] for name in (*_ALKALIS, "product") if name in table}


def _version(table: Table, known: Mapping[str, Any]) -> VersionSpec:
    values: dict[str, Any] = {name: Decimal(table[name]) for name in _SHARES if name in table}
    values |= {name: known[table[name]] for name in _ALKALIS if name in table}
    values |= {name: table[name] for name in _COUNTS if name in table}
    values["pour"] = _pour(table)
    values["resolution"] = mass_ng(parse_quantity(table["resolution"], Dimension.MASS))
    return VersionSpec(lines=[_line(line, known) for line in table["lines"]], **values)


def _pour(table: Table) -> Pour:
    """The color portions of a recipe and the order in which they are poured."""
    return Pour(
        tuple(Portion(each["name"], Decimal(each["share"])) for each in table.get("portions", ())),
        tuple(
            Layer(
                each["portion"],
                Decimal(each["share"]),
                Place(each.get("place", Place.ACROSS.value)),
                each.get("note", ""),
            )
            for each in table.get("layers", ())
        ),
    )


def _line(table: Table, known: Mapping[str, Any]) -> LineSpec:
    return LineSpec(
        material=known[table["material"]],
        basis=Basis(table["basis"]),
        amount=Decimal(table["amount"]),
        stage=Stage(table.get("stage", Stage.FATS.value)),
        counts_as_water=table.get("counts_as_water", False),
        strained=table.get("strained", False),
        portion=table.get("portion", ""),
    )
