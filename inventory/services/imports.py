"""The inventory's tables that go in and out: `materials`, `suppliers`, `offers` and `lots`.

Import them in this order: each names what the one before holds. See `studio.exchange`.
"""

from inventory.services.imports_lots import LOTS
from inventory.services.imports_materials import MATERIALS
from inventory.services.imports_offers import OFFERS
from inventory.services.imports_suppliers import SUPPLIERS
from studio.exchange.registry import TABLES


def register_tables() -> None:
    """Make them known; called once when the app is ready."""
    for table in (MATERIALS, SUPPLIERS, OFFERS, LOTS):
        TABLES.register(table)
