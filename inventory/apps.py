from django.apps import AppConfig

from studio.pages.panels import register


class InventoryConfig(AppConfig):
    name = "inventory"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        # Panels and causes read models, which exist only now that all apps are loaded.
        from inventory.pages.overview import low_stock_panel  # noqa: PLC0415
        from inventory.services.alert_causes_stock import register_causes  # noqa: PLC0415
        from inventory.services.imports import register_tables  # noqa: PLC0415

        register_causes()
        register_tables()
        register("low-stock", low_stock_panel, order=10)
