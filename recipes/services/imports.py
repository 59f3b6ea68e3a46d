"""The recipes' tables that go in and out: `molds` and `recipes`. See `studio.exchange`."""

from recipes.services.imports_formulas import RECIPES
from recipes.services.imports_molds import MOLDS
from studio.exchange.registry import TABLES


def register_tables() -> None:
    """Make them known; called once when the app is ready."""
    for table in (MOLDS, RECIPES):
        TABLES.register(table)
