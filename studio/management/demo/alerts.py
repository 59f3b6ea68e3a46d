"""The round of alerts as it really runs: sent by the schedule, done by a worker."""

import os
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import datetime
from typing import TYPE_CHECKING

from django.utils import timezone

from inventory.queries.alerts.alerts import last_run, open_alerts
from inventory.services.alerts.alerts import ALERTS_JOB, job_of
from inventory.services.alerts.causes import KIND
from studio.management.demo.tables import Printer, amount
from studio.work.serving import Part, Service, signals_held

if TYPE_CHECKING:
    from inventory.models.alerts.alerts import Alert

#: A worker on a small machine takes some seconds to load, on a busy one much longer.
WAIT_SECONDS = 600
#: While the walk waits, the schedule looks more often than a studio needs.
EVERY_SECONDS = "1"
# Quiet: what they have to say stands in the tables.
CELERY = ("-W", "ignore", "-m", "celery", "--quiet", "-A", "studio")
WORKER = [
    # In one process: it starts and stops sooner, and nothing here wants a limit of time.
    *(*CELERY, "worker", "--pool", "solo", "--loglevel", "ERROR"),
    *("--without-gossip", "--without-mingle", "--without-heartbeat"),
]
SCHEDULER = [*CELERY, "beat", "--pidfile=", "--loglevel", "ERROR"]


@contextmanager
def background() -> Iterator[Service]:
    """A worker and the scheduler, as `manage.py serve` starts them, until the end of the block."""
    with signals_held():
        service = Service({**os.environ, "STUDIO_ALERT_SECONDS": EVERY_SECONDS})
        try:
            service.start(Part("worker", [sys.executable, *WORKER], quiet=True))
            service.start(Part("scheduler", [sys.executable, *SCHEDULER], quiet=True))
            yield service
        finally:
            service.stop()


def show_alerts(printer: Printer, service: Service) -> bool:
    """Wait until the schedule has looked for what runs low; false if it did not come to it."""
    printer.step(
        "What runs low",
        "The schedule sends the job through the broker to a worker, as it does while the studio is "
        "served.",
    )
    if not looked_since(service, timezone.now()):
        printer.say("The worker did not answer in time; 'manage.py serve' runs the job later.")
        return False
    alerts = open_alerts()
    if not alerts:
        printer.say("Nothing: what ran low was bought in an earlier walk.")
        return True
    _low_table(printer, alerts)
    others = [(alert.name, alert.reason) for alert in alerts if alert.kind != KIND]
    if others:
        printer.table(["What else", "Why"], others)
    digest = next((alert.digest for alert in alerts if alert.digest), None)
    if digest is not None:
        printer.say(f'Told once, by mail: "{digest.subject}"')
    return True


def show_low_stock(printer: Printer, service: Service) -> bool:
    """Wait until the schedule has looked again, and show what runs low now."""
    if not looked_since(service, timezone.now()):
        printer.say("The worker did not answer in time; 'manage.py serve' runs the job later.")
        return False
    _low_table(printer, open_alerts())
    return True


def show_closed(printer: Printer, service: Service) -> bool:
    """Wait until the schedule has looked again, and tell which alerts are still open."""
    if not looked_since(service, timezone.now()):
        printer.say("The worker did not answer in time; 'manage.py serve' runs the job later.")
        return False
    still = [alert.name for alert in open_alerts()]
    printer.say(
        f"Still open: {', '.join(still)}." if still else "The alerts closed by themselves.",
        style="bold",
    )
    return True


def _low_table(printer: Printer, alerts: Iterable["Alert"]) -> None:
    printer.table(
        ["Material", ">Projected", ">Reorder point", "Why"],
        (
            (
                alert.name,
                amount(alert.figures["projected"], alert.figures["unit"]),
                amount(alert.figures["reorder_point"] or 0, alert.figures["unit"]),
                alert.reason,
            )
            for alert in alerts
            if alert.kind == KIND
        ),
    )


def low_materials() -> list[str]:
    """The names of what has an open low-stock alert."""
    return [alert.name for alert in open_alerts() if alert.kind == KIND]


def looked_since(service: Service, since: datetime, *, kind: str = "") -> bool:
    """Whether a worker looked, and told of what is new, before the time ran out.

    It looked for everything, or for that one `kind`, in a look that began at `since` or later: one
    that began before may have missed what was committed in between.
    """
    return service.wait_for(lambda: _answered(since, kind), seconds=WAIT_SECONDS)


def _answered(since: datetime, kind: str) -> bool:
    jobs = (ALERTS_JOB, job_of(kind)) if kind else (ALERTS_JOB,)
    looks = [looked for looked in map(last_run, jobs) if looked is not None]
    return any(looked >= since for looked in looks) and all(
        alert.digest is None or alert.digest.attempts for alert in open_alerts(kind=kind)
    )
