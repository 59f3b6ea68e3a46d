"""The inventory's tables that go in and out: `materials`, `suppliers`, `offers` and `lots`.

Import them in this order: each names what the one before holds. See `studio.work.exchange`.
"""

from inventory.services.exchange.lots import LOTS
from inventory.services.exchange.materials import MATERIALS
from inventory.services.exchange.offers import OFFERS
from inventory.services.exchange.suppliers import SUPPLIERS
from studio.work.exchange.registry import TABLES


def register_tables() -> None:
    """Make them known; called once when the app is ready."""
    for table in (MATERIALS, SUPPLIERS, OFFERS, LOTS):
        TABLES.register(table)
