from django.apps import AppConfig
from django.core import checks
from django.utils.module_loading import autodiscover_modules

from studio import celery
from studio import checks as checks_at_start
from studio.foundation.sqlite_journal import use_the_real_limit, write_ahead
from studio.web.pages.places import PLACES, Place

__all__ = ["StudioConfig", "celery", "checks_at_start"]


class StudioConfig(AppConfig):
    name = "studio"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        write_ahead()
        use_the_real_limit()
        # The table of problems lists every loaded refusal: load them all.
        autodiscover_modules("errors")
        # Views need loaded apps, so the check over them is imported here.
        from studio.web.api.checks import every_action_has_a_rule  # noqa: PLC0415
        from studio.web.pages.ruled import every_page_has_a_rule  # noqa: PLC0415
        from studio.web.pages.start import register_settings_step  # noqa: PLC0415

        checks.register(every_action_has_a_rule, "studio")
        checks.register(every_page_has_a_rule, "studio")
        PLACES.register(Place("today", "Today", url_name="overview", order=10, daily=True))
        register_settings_step()
        PLACES.register(Place("settings", "Settings", url_name="settings", order=90))
