"""The low-stock job as it really runs: sent through the broker, done by a worker."""

import os
import sys
from datetime import datetime

from django.conf import settings
from django.utils import timezone

from inventory.queries.alerts import last_run, open_alerts
from inventory.services.alerts import ALERTS_JOB
from inventory.services.low_stock import KIND
from inventory.tasks import raise_alerts
from studio.management.demo.tables import Printer, amount
from studio.serving import Part, Service, signals_held

#: A worker on a small machine takes some seconds to load.
WAIT_SECONDS = 90
WORKER = [
    # Quiet: what it has to say stands in the table below.
    *("-W", "ignore", "-m", "celery", "--quiet", "-A", "studio", "worker"),
    *("--concurrency", "1", "--loglevel", "ERROR"),
    *("--without-gossip", "--without-mingle", "--without-heartbeat"),
]


def show_alerts(printer: Printer) -> bool:
    """Let a worker look for what runs low, and print what it found; false if it did not answer."""
    printer.step(
        "What runs low",
        "The job goes through the broker to a worker, as the schedule sends it every "
        f"{settings.STUDIO_ALERT_SECONDS} s while the studio is served.",
    )
    since = timezone.now()
    if not _worked(since):
        printer.say("The worker did not answer in time; 'manage.py serve' runs the job later.")
        return False
    alerts = open_alerts()
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
    others = [(alert.name, alert.reason) for alert in alerts if alert.kind != KIND]
    if others:
        printer.table(["What else", "Why"], others)
    digest = next((alert.digest for alert in alerts if alert.digest), None)
    if digest is not None:
        printer.say(f'Told once, by mail: "{digest.subject}"')
    return True


def _worked(since: datetime) -> bool:
    """Whether a worker took the job, and told of what is new, before the time ran out."""
    with signals_held():
        service = Service(os.environ)
        try:
            service.start(Part("worker", [sys.executable, *WORKER], quiet=True))
            raise_alerts.delay()
            return service.wait_for(lambda: _answered(since), seconds=WAIT_SECONDS)
        finally:
            service.stop()


def _answered(since: datetime) -> bool:
    looked = last_run(ALERTS_JOB)
    return (
        looked is not None
        and looked >= since
        and all(alert.digest is None or alert.digest.attempts for alert in open_alerts())
    )
