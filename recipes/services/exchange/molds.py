"""Molds as a table that goes in and out."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from recipes.models.molds.molds import Mold
from recipes.services.molds.molds import save_mold
from studio.foundation.model_fields import described
from studio.foundation.roles import Capability
from studio.foundation.tables.columns import Layout, Row
from studio.work.exchange.described import columns_of, rows_of, take_row
from studio.work.exchange.registry import ExchangeTable, Outcome, Taking

LAYOUT = Layout(columns_of(Mold, described(Mold)))


def take_mold(rows: Sequence[Row], taking: Taking) -> Outcome:
    """Keep one mold as its row says."""
    return take_row(Mold, LAYOUT, rows, taking, save=save_mold)


def mold_rows() -> Iterator[Mapping[str, Any]]:
    """All molds. One query."""
    return rows_of(Mold, LAYOUT)


MOLDS = ExchangeTable(
    name="molds",
    title="Molds",
    layout=LAYOUT,
    needed=Capability.PLAN,
    rows=mold_rows,
    take=take_mold,
)
