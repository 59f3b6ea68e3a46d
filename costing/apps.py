from django.apps import AppConfig

from studio.foundation.roles import Capability
from studio.web.pages.places import PLACES, Place
from studio.work.exchange.registry import TABLES

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
        from costing.models.quotes.guards import QUOTES  # noqa: PLC0415
        from costing.pages.finders import register_finders  # noqa: PLC0415
        from costing.queries.orders.contacts import register_contacts  # noqa: PLC0415
        from costing.services.orders.alert_causes import register_causes  # noqa: PLC0415
        from costing.services.prices.margin_watch import register_cause  # noqa: PLC0415
        from costing.services.quotes.customers import CUSTOMERS  # noqa: PLC0415
        from costing.services.what_if.job import register_what_if  # noqa: PLC0415

        QUOTES.keep_on(self)
        TABLES.register(CUSTOMERS)
        register_what_if()
        PLACES.register(PRICES)
        PLACES.register(Place("orders", "Orders", url_name="orders", order=55))
        register_finders()
        register_contacts()
        register_causes()
        register_cause()
        self._listen()

    @staticmethod
    def _listen() -> None:
        """Hear what happens below, within its transaction."""
        from costing.services.bar_cost.conversion import capitalize_finished, keep_planned  # noqa: PLC0415
        from costing.services.orders.holds import hold_released  # noqa: PLC0415
        from costing.services.orders.returns import book_credits  # noqa: PLC0415
        from costing.services.prices.margin_watch import buying_cost_has_changed  # noqa: PLC0415
        from inventory.services.events import buying_cost_changed  # noqa: PLC0415
        from inventory.services.shipping.returns import bars_returned  # noqa: PLC0415
        from recipes.services.events import batch_cured, batch_planned  # noqa: PLC0415

        batch_cured.connect(capitalize_finished, dispatch_uid="costing.capitalize")
        batch_cured.connect(hold_released, dispatch_uid="costing.hold")
        bars_returned.connect(book_credits, dispatch_uid="costing.credit")
        batch_planned.connect(keep_planned, dispatch_uid="costing.standard")
        buying_cost_changed.connect(buying_cost_has_changed, dispatch_uid="costing.margins")
