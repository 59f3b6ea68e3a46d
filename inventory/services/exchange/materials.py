"""Materials as a table that goes in and out."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from inventory.domain.catalog.descriptions import read_fatty_acid
from inventory.domain.catalog.materials import MADE_HERE
from inventory.domain.stock.holds import LONGEST_SAID
from inventory.models.catalog.materials import Material
from inventory.services.catalog.materials import save_material
from inventory.services.exchange.columns import share, stock_text, text_column
from studio.foundation.errors import Faults, InvalidInput, Refusal
from studio.foundation.model_fields import described
from studio.foundation.roles import Capability
from studio.foundation.tables.cells import Cell
from studio.foundation.tables.columns import Column, Layout, Row
from studio.foundation.tables.listed import Listed, as_mapping
from studio.foundation.units.conversion import stock_amount
from studio.work.exchange.described import columns_of, is_already
from studio.work.exchange.registry import ExchangeTable, Outcome, Taking, refuse_taken, require
from studio.work.keeping import changed

IN_STOCK_UNITS = {"reorder_point", "reorder_to", "shelf_space"}


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


_ACIDS = Column(
    "fatty_acids",
    Listed(
        first=FattyAcid(),
        second=share("a share of all fatty acids"),
        example="C16:0 0.12; C18:1 0.72",
    ),
    "fatty acids with their shares of all fatty acids",
    "C16:0 0.12; C18:0 0.03; C18:1 0.72; C18:2 0.1",
    empty=(),
)


def _columns() -> Iterator[Column]:
    for column in columns_of(Material, described(Material)):
        # Without a word on alerts, the service says whether they are on.
        yield replace(column, empty=None) if column.name == "low_stock_alerts" else column
        if column.name == "iodine_value":
            yield _ACIDS


_REASON = text_column(
    "reason", LONGEST_SAID, "why, where an owner corrects which alkali it is; never written out"
)
LAYOUT = Layout((*_columns(), _REASON))


def take_material(rows: Sequence[Row], taking: Taking) -> Outcome:
    """Keep one material as its row says."""
    (row,) = rows
    code = row.values["code"]
    kept = Material.objects.prefetch_related("fatty_acids").filter(code=code).first()
    if kept is not None:
        refuse_taken(code, taking)
    require(row, LAYOUT, taking, new=kept is None)
    given, acids = _given(row, kept)
    reason = given.pop("reason", "")
    if kept is not None and acids in (None, kept.acids) and is_already(kept, given):
        return Outcome.UNCHANGED
    material = changed(kept or Material(), {} if kept else {"low_stock_alerts": None})
    save_material(
        changed(material, given), tuple(given), fatty_acids=acids, reason=reason, by=taking.by
    )
    return Outcome.CREATED if kept is None else Outcome.CHANGED


def _given(row: Row, kept: Material | None) -> tuple[dict[str, Any], Mapping[str, Decimal] | None]:
    """What a row says: values by field, and the shares of the fatty acids."""
    given, acids, faults = dict(row.values), None, Faults()
    try:
        acids = as_mapping(given.pop("fatty_acids")) if "fatty_acids" in given else None
    except InvalidInput as refusal:
        faults.take(refusal, "fatty_acids")
    base = changed(kept or Material(), given)
    if base.low_stock_alerts is None:
        given["low_stock_alerts"] = base.kind not in MADE_HERE
    for name in IN_STOCK_UNITS & given.keys():
        try:
            if given[name] is not None:
                given[name] = stock_amount(
                    given[name], counted=base.counted, density_g_ml=base.density_g_ml
                )
        except Refusal as refusal:
            faults.take(refusal, name)
    faults.raise_if_any(InvalidInput)
    return given, acids


def material_rows() -> Iterator[Mapping[str, Any]]:
    """All materials. Two queries."""
    for material in Material.objects.prefetch_related("fatty_acids").order_by("code"):
        values = {name: getattr(material, name) for name in described(Material)}
        for name in IN_STOCK_UNITS:
            values[name] = stock_text(values[name], counted=material.counted)
        yield {**values, "fatty_acids": sorted(material.acids.items()), "reason": ""}


MATERIALS = ExchangeTable(
    name="materials",
    title="Materials",
    layout=LAYOUT,
    needed=Capability.KEEP_STOCK,
    rows=material_rows,
    take=take_material,
)
