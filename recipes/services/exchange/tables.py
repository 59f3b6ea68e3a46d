"""The recipes' tables that go in and out: `molds` and `recipes`. See `studio.work.exchange`."""

from recipes.services.exchange.formulas import RECIPES
from recipes.services.exchange.molds import MOLDS
from studio.work.exchange.registry import TABLES


def register_tables() -> None:
    """Make them known; called once when the app is ready."""
    for table in (MOLDS, RECIPES):
        TABLES.register(table)
