"""What test workers have beside the studio's own tasks.

- One more task, by which tests see that a worker works.
- Places at which a worker stops until it is killed, for tests of what is left behind then: the
  worker tells by a file that it has reached the place named in TESTED_STOP, and waits there for a
  lock that the test holds.
- TESTED_VISIBILITY: after how many seconds Redis gives a killed worker's task to another.
"""

import fcntl
import itertools
import os
from pathlib import Path
from typing import Any

from celery.signals import task_prerun
from django.contrib.auth.models import Group
from django.db.models.signals import post_save

from studio.celery import app

STOP = os.environ.get("TESTED_STOP", "")
FOLDER = Path(os.environ.get("TESTED_FOLDER", ""))


@app.task(name="tests.leave_a_row")
def leave_a_row(name: str) -> None:
    """Write a row that the test waits for."""
    Group.objects.get_or_create(name=name)


def stop_here(place: str) -> None:
    """Say that the place is reached, and wait for the lock; only at the place to stop at."""
    if place != STOP:
        return
    (FOLDER / "reached").touch()
    with (FOLDER / "held").open("w") as held:
        fcntl.flock(held, fcntl.LOCK_EX)


def _written(**_: object) -> None:
    stop_here("the alerts and the mail are written, not committed")


def _committed(task: object, **_: object) -> None:
    if getattr(task, "name", "") == "studio.tasks.send_digests":
        stop_here("the alerts are committed, the mail is not sent")


def _claimed(sender: object, **_: object) -> None:
    stop_here("the mail is claimed, not sent")


def _stop_imports() -> None:
    """Stop between the parts of a check, and between the last row of an import and its end."""
    from studio.work.exchange import runs

    take_all, calls = runs.take_all, itertools.count()

    def stop_and_take(*given: Any) -> None:
        if next(calls):
            stop_here("a part of the rows is checked")
        take_all(*given)
        stop_here("the rows are in, not committed")

    runs.take_all = stop_and_take  # type: ignore[assignment]


def _hook() -> None:
    """Connect the places; what is asked for is part of Django's and Celery's own work."""
    from django.core.mail.message import EmailMessage

    from studio.work.digests import Digest

    post_save.connect(_written, sender=Digest, weak=False)
    task_prerun.connect(_committed, weak=False)
    send = EmailMessage.send

    def stop_and_send(message: EmailMessage, fail_silently: bool = False) -> int:
        _claimed(message)
        return send(message, fail_silently)

    EmailMessage.send = stop_and_send  # type: ignore[method-assign]


if STOP:
    _hook()
    _stop_imports()
if "TESTED_VISIBILITY" in os.environ:
    seconds = int(os.environ["TESTED_VISIBILITY"])
    app.conf.broker_transport_options = {
        **app.conf.broker_transport_options,
        "visibility_timeout": seconds,
    }
