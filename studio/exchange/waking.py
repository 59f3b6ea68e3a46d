"""Messages that wake a worker for an import. What is lost is sent again by the schedule."""

import logging
from collections.abc import Iterable
from datetime import timedelta

from celery import current_app

logger = logging.getLogger(__name__)

TASK = "studio.tasks.do_import"
#: A message that no worker took for so long is taken for lost.
PATIENCE = timedelta(minutes=2)


def wake(runs: Iterable[int]) -> None:
    """Send a message for each import."""
    for pk in runs:
        try:
            current_app.send_task(TASK, kwargs={"run": pk})
        except current_app.connection_for_write().connection_errors:
            logger.exception("Import %s waits: the queue cannot be reached", pk)
            return
