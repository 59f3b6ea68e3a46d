"""The shipped list of fats and other materials of the trade, with their published values."""

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

from django.db import transaction

from inventory.domain.catalog.materials import MaterialKind
from inventory.models.catalog.materials import Material
from inventory.services.catalog.materials import add_material
from studio.foundation.doers import By
from studio.foundation.errors import InvalidInput, NotFound
from studio.foundation.units.conversion import mass_ng, stock_amount
from studio.foundation.units.grammar import parse_quantity
from studio.foundation.units.registry import Dimension

_APP = Path(__file__).resolve().parents[2]
#: A wheel carries the files inside this package, the tree at its top.
FIXTURES = next(at for at in (_APP / "fixtures", _APP.parent / "fixtures") if at.is_dir())
Table = Mapping[str, Any]

#: Keys of the trade's files and the names under which a material keeps them.
_PUBLISHED = {"sv": "sv_mg_koh_g", "sv_low": "sv_low_mg_koh_g", "sv_high": "sv_high_mg_koh_g"}
_AMOUNTS = frozenset({"reorder_point", "reorder_to"})


class NothingChosen(InvalidInput):
    """Nothing of the list was chosen: tick at least one material."""

    code = "nothing-chosen"
    title = "Nothing is chosen"


@dataclass(frozen=True, slots=True, kw_only=True)
class Published:
    """A material of the list as somebody chooses it; `here` when its code is taken already."""

    code: str
    name: str
    inci_name: str
    source: str
    is_fat: bool
    here: bool


def published() -> dict[str, dict[str, Any]]:
    """The trade's published materials by code, with their source."""
    fats = ({**fat, "kind": MaterialKind.FAT.value} for fat in _file("fats")["fat"])
    return {row["code"]: row for row in [*fats, *_file("others")["material"]]}


def choices() -> list[Published]:
    """What can be chosen, in the order of the list: fats first. One query."""
    listed = published()
    here = set(Material.objects.filter(code__in=listed).values_list("code", flat=True))
    return [
        Published(
            code=code,
            name=row["name"],
            inci_name=row.get("inci_name", ""),
            source=row.get("source", ""),
            is_fat=row["kind"] == MaterialKind.FAT.value,
            here=code in here,
        )
        for code, row in listed.items()
    ]


@transaction.atomic
def add_published(codes: Iterable[str], *, by: By = None) -> list[Material]:
    """Add chosen materials of the list; those that are here already stay as they are.

    Raises NotFound for a code that the list lacks.
    """
    listed, wanted = published(), list(dict.fromkeys(codes))
    for code in wanted:
        if code not in listed:
            raise NotFound(f'The list has no "{code}".')
    here = set(Material.objects.filter(code__in=wanted).values_list("code", flat=True))
    return [add_material(**described(listed[code]), by=by) for code in wanted if code not in here]


def _file(name: str) -> dict[str, list[dict[str, Any]]]:
    return tomllib.loads((FIXTURES / "trade" / f"{name}.toml").read_text(encoding="utf-8"))


def described(table: Table) -> dict[str, Any]:
    """A table of the list, or of files written like it, as a new material's values."""
    values: dict[str, Any] = {}
    fields = {field.name: field for field in Material._meta.fields}
    for key, value in table.items():
        name = _PUBLISHED.get(key, key)
        if name == "fatty_acids":
            values[name] = {acid: Decimal(share) for acid, share in value.items()}
        elif name == "piece_mass":
            values[name] = mass_ng(parse_quantity(value, Dimension.MASS))
        elif name not in {"trade", "source", "evidence", *_AMOUNTS}:
            values[name] = fields[name].to_python(value)
    values["note"] = " ".join(
        part for part in (table.get("note", ""), _cited(table.get("source", ""))) if part
    )
    for name in _AMOUNTS & set(table):
        values[name] = _stock(table[name], values)
    return values


def _stock(text: str, values: Table) -> int:
    return stock_amount(
        parse_quantity(text, Dimension.MASS, Dimension.VOLUME, Dimension.COUNT),
        counted=values.get("counted", False),
        density_g_ml=values.get("density_g_ml"),
    )


def _cited(source: str) -> str:
    return f"Values: {source}." if source else ""
