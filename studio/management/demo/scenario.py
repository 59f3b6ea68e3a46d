"""The invented studio as files: what is in fixtures/demo, joined with the trade's values."""

import tomllib
from collections.abc import Mapping, Sequence
from typing import Any

from inventory.services.catalog.trade_list import FIXTURES, described, published

Table = Mapping[str, Any]


def read(name: str) -> dict[str, list[dict[str, Any]]]:
    """One file of the fixtures, such as "demo/shelf"."""
    return tomllib.loads((FIXTURES / f"{name}.toml").read_text(encoding="utf-8"))


def materials(tables: Sequence[Table]) -> list[dict[str, Any]]:
    """What the shelf's tables describe, joined with the published values they start from."""
    known = published()
    return [described({**known.get(table.get("trade", ""), {}), **table}) for table in tables]
