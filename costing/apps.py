from django.apps import AppConfig


class CostingConfig(AppConfig):
    name = "costing"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        # Services import models, which exist only now that all apps are loaded.
        from costing.services.conversion import capitalize_finished  # noqa: PLC0415
        from recipes.services.events import batch_cured  # noqa: PLC0415

        batch_cured.connect(capitalize_finished, dispatch_uid="costing.capitalize")
