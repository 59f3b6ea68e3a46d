from django.apps import AppConfig

from studio import celery

__all__ = ["StudioConfig", "celery"]


class StudioConfig(AppConfig):
    name = "studio"
    default_auto_field = "django.db.models.BigAutoField"
