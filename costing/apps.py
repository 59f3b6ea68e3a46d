from django.apps import AppConfig

from studio.exchange.registry import TABLES
from studio.pages.places import PLACES, Place
from studio.roles import Capability

PRICES = Place(
    "prices",
    "Prices",
    url_name="prices",
    order=50,
    daily=True,
    rule=(Capability.READ, Capability.SEE_COSTS),
    also=("quotes", "customers"),
)


class CostingConfig(AppConfig):
    name = "costing"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        # Services import models, which exist only now that all apps are loaded.
        from costing.models.guards import QUOTES  # noqa: PLC0415
        from costing.pages.quotes_found import register_finders  # noqa: PLC0415
        from costing.services.imports_customers import CUSTOMERS  # noqa: PLC0415
        from costing.services.margin_watch import register_cause  # noqa: PLC0415
        from costing.services.sales_causes import register_causes  # noqa: PLC0415
        from costing.services.what_if_job import register_what_if  # noqa: PLC0415

        QUOTES.keep_on(self)
        TABLES.register(CUSTOMERS)
        register_what_if()
        PLACES.register(PRICES)
        PLACES.register(Place("orders", "Orders", url_name="orders", order=55))
        register_finders()
        register_causes()
        register_cause()
        self._listen()

    @staticmethod
    def _listen() -> None:
        """Hear what happens below, within its transaction."""
        from costing.services.conversion import capitalize_finished  # noqa: PLC0415
        from costing.services.margin_watch import buying_cost_has_changed  # noqa: PLC0415
        from costing.services.order_holds import hold_released  # noqa: PLC0415
        from costing.services.sale_returns import book_credits  # noqa: PLC0415
        from costing.services.standard_cost import keep_planned  # noqa: PLC0415
        from inventory.services.events import buying_cost_changed  # noqa: PLC0415
        from inventory.services.returns import bars_returned  # noqa: PLC0415
        from recipes.services.events import batch_cured, batch_planned  # noqa: PLC0415

        batch_cured.connect(capitalize_finished, dispatch_uid="costing.capitalize")
        batch_cured.connect(hold_released, dispatch_uid="costing.hold")
        bars_returned.connect(book_credits, dispatch_uid="costing.credit")
        batch_planned.connect(keep_planned, dispatch_uid="costing.standard")
        buying_cost_changed.connect(buying_cost_has_changed, dispatch_uid="costing.margins")
