"""The invented studio as files: what is in fixtures/trade and fixtures/demo, read and joined."""

import tomllib
from collections.abc import Mapping, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

from inventory.domain.descriptions import MaterialDescription
from inventory.domain.materials import MaterialKind
from studio.units import Dimension, mass_ng, parse_quantity, stock_amount

FIXTURES = Path(__file__).resolve().parents[3] / "fixtures"
Table = Mapping[str, Any]

#: Keys of the trade's files and the names under which a material keeps them.
_PUBLISHED = {"sv": "sv_mg_koh_g", "sv_low": "sv_low_mg_koh_g", "sv_high": "sv_high_mg_koh_g"}
_DECIMALS = frozenset(
    {
        "sv_mg_koh_g",
        "sv_low_mg_koh_g",
        "sv_high_mg_koh_g",
        "iodine_value",
        "density_g_ml",
        "density_temperature_c",
        "water_share",
        "fat_share",
        "purity",
        "acid_naoh_g_per_g",
        "ifra_category9_max",
    }
)
_AMOUNTS = frozenset({"reorder_point", "reorder_to"})


def read(name: str) -> dict[str, list[dict[str, Any]]]:
    """One file of the fixtures, such as "demo/shelf"."""
    return tomllib.loads((FIXTURES / f"{name}.toml").read_text(encoding="utf-8"))


def published() -> dict[str, dict[str, Any]]:
    """The trade's published materials by code, with their source as a note."""
    fats = ({**fat, "kind": MaterialKind.FAT.value} for fat in read("trade/fats")["fat"])
    return {row["code"]: row for row in [*fats, *read("trade/others")["material"]]}


def materials(tables: Sequence[Table]) -> list[MaterialDescription]:
    """What the shelf's tables describe, joined with the published values they start from."""
    known = published()
    return [_described({**known.get(table.get("trade", ""), {}), **table}) for table in tables]


def _described(table: Table) -> MaterialDescription:
    values: dict[str, Any] = {}
    for key, value in table.items():
        name = _PUBLISHED.get(key, key)
        if name in _DECIMALS:
            values[name] = Decimal(value)
        elif name == "fatty_acids":
            values[name] = {acid: Decimal(share) for acid, share in value.items()}
        elif name == "piece_mass":
            values[name] = mass_ng(parse_quantity(value, Dimension.MASS))
        elif name not in {"trade", "source", "evidence", *_AMOUNTS}:
            values[name] = value
    values["kind"] = MaterialKind(values["kind"])
    values["note"] = " ".join(
        part for part in (table.get("note", ""), _cited(table.get("source", ""))) if part
    )
    for name in _AMOUNTS & set(table):
        values[name] = _stock(table[name], values)
    return MaterialDescription(**values)


def _stock(text: str, values: Table) -> int:
    return stock_amount(
        parse_quantity(text, Dimension.MASS, Dimension.VOLUME, Dimension.COUNT),
        counted=values.get("counted", False),
        density_g_ml=values.get("density_g_ml"),
    )


def _cited(source: str) -> str:
    return f"Values: {source}." if source else ""
