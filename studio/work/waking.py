"""Telling workers of what was written. What cannot be told is found by the schedule."""

import logging
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from functools import partial
from typing import Any

from celery import current_app
from django.db import transaction
from django.utils import timezone
from kombu.pools import producers

from studio.work.broker import SENDING_SECONDS, sending_options

logger = logging.getLogger(__name__)
#: A connection that went stale is made anew once; a broker that is away keeps nobody waiting.
_RETRY = {"max_retries": 1, "interval_start": 0, "interval_step": 0.1, "interval_max": 0.1}


def wake(task: str, calls: Iterable[Mapping[str, Any]] = ({},)) -> None:
    """Have workers do a task once what is written is committed: a message for each of `calls`.

    A broker that is away undoes nothing and costs about a second: it is logged, and the schedule
    finds the rows. So a task that is woken must be a scan, or its rows must be sent again.
    """
    transaction.on_commit(partial(_send, task, list(calls)))


def moment(at: str) -> datetime:
    """The moment a task acts for: `at` in ISO 8601 with its offset; without it, now."""
    return datetime.fromisoformat(at) if at else timezone.now()


def _send(task: str, calls: Sequence[Mapping[str, Any]]) -> None:
    conf = current_app.conf
    try:
        broker = current_app.connection_for_write(
            connect_timeout=SENDING_SECONDS,
            transport_options={
                **conf.broker_transport_options,
                **sending_options(conf.broker_write_url),
            },
        )
        with producers[broker].acquire(block=True, timeout=SENDING_SECONDS) as producer:
            for call in calls:
                current_app.send_task(
                    task, kwargs=dict(call), producer=producer, retry=True, retry_policy=_RETRY
                )
    except Exception:  # whatever a broker raises, what is kept stays and is answered for
        logger.exception("No worker could be told of %s; the schedule will", task)
