"""The inventory's tables that go in and out: `materials`, `suppliers`, `offers` and `lots`.

Import them in this order: each names what the one before holds. See `studio.work.exchange`.
"""

from inventory.models.catalog.suppliers import Supplier
from inventory.services.catalog.suppliers import save_supplier
from inventory.services.exchange.lots import LOTS
from inventory.services.exchange.materials import MATERIALS
from inventory.services.exchange.offers import OFFERS
from studio.foundation.roles import Capability
from studio.work.exchange.described import described_table
from studio.work.exchange.registry import TABLES

SUPPLIERS = described_table(
    Supplier, name="suppliers", needed=Capability.KEEP_STOCK, save=save_supplier
)


def register_tables() -> None:
    """Make them known; called once when the app is ready."""
    for table in (MATERIALS, SUPPLIERS, OFFERS, LOTS):
        TABLES.register(table)
