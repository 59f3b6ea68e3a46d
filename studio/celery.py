"""The Celery application. `studio.apps` imports it, so that every Django process has it.

The package's own `__init__` stays empty on purpose: importing `studio.foundation.units` from the
pure core must not pull in Celery. `celery -A studio` finds this module by its name.
"""

import os

from celery import Celery
from celery.signals import worker_process_init
from kombu.transport import TRANSPORT_ALIASES

from studio.work.serving import die_with_served_parent

# For `celery -A studio ...` without manage.py.
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")

TRANSPORT_ALIASES["filesystem"] = "studio.work.folder_transport:Transport"

app = Celery("studio")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
# Celery keeps the current application per thread; web requests run in threads of their own.
app.set_default()


@worker_process_init.connect
def _end_with_the_worker(**_: object) -> None:
    die_with_served_parent()
