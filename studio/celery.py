"""The Celery application. `studio.apps` imports it, so that every Django process has it.

The package's own `__init__` stays empty on purpose: importing `studio.foundation.units` from the
pure core must not pull in Celery. `celery -A studio` finds this module by its name.
"""

import os
from typing import Any

from celery import Celery, Task
from celery.signals import worker_process_init
from kombu.transport import TRANSPORT_ALIASES

from studio.foundation.doers import acting, the_schedule
from studio.work.serving import die_with_served_parent

# For `celery -A studio ...` without manage.py.
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")

TRANSPORT_ALIASES["filesystem"] = "studio.work.folder_transport:Transport"


class ScheduledTask(Task):  # type: ignore[type-arg]
    """A task: what it changes names the schedule, unless its row says who asked for it."""

    def __call__(self, *args: Any, **kwargs: Any) -> Any:
        with acting(the_schedule):
            return super().__call__(*args, **kwargs)


app = Celery("studio", task_cls=ScheduledTask)
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
# Celery keeps the current application per thread; web requests run in threads of their own.
app.set_default()


@worker_process_init.connect
def _end_with_the_worker(**_: object) -> None:
    die_with_served_parent()
