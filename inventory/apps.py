from django.apps import AppConfig

from studio.web.pages.panels import SECTIONS, Section
from studio.web.pages.places import PLACES, Place


class InventoryConfig(AppConfig):
    name = "inventory"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        # Panels and causes read models, which exist only now that all apps are loaded.
        from inventory.models.stock.ledger import ENTRIES  # noqa: PLC0415
        from inventory.pages.finders import register_finders  # noqa: PLC0415
        from inventory.pages.overview import alerts_panel, deliveries_panel  # noqa: PLC0415
        from inventory.pages.start import register_steps  # noqa: PLC0415
        from inventory.pages.stock.lot_verbs import register_ways  # noqa: PLC0415
        from inventory.services.alerts.causes import register_causes  # noqa: PLC0415
        from inventory.services.buying.plan_job import register_plans  # noqa: PLC0415
        from inventory.services.exchange.tables import register_tables  # noqa: PLC0415
        from inventory.services.stock.blend_proof import register_checks  # noqa: PLC0415

        ENTRIES.keep_on(self)
        register_causes()
        register_checks()
        register_tables()
        register_plans()
        register_finders()
        register_steps()
        register_ways()
        SECTIONS.register(Section("alerts", alerts_panel, order=20))
        SECTIONS.register(Section("deliveries", deliveries_panel, order=30))
        PLACES.register(Place("shelf", "Shelf", url_name="shelf", order=20, daily=True))
        PLACES.register(Place("buying", "Buying", url_name="buying", order=60))
