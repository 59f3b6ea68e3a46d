"""The studio's settings, with one more scheduled task that leaves a trace: tests.leave_a_row."""

from studio.settings import *  # noqa: F403
from studio.settings import CELERY_BEAT_SCHEDULE

CELERY_IMPORTS = ("tests.probe",)
CELERY_BEAT_SCHEDULE = {
    **CELERY_BEAT_SCHEDULE,
    "leave-a-row": {"task": "tests.leave_a_row", "schedule": 1.0, "args": ("sent by beat",)},
}
