"""The scheduler of Celery beat, with its memory in the database: several may run beside each other.

Time is cut into periods of each entry's own length. Whoever comes first in a period claims it, by
one statement that the database decides, and sends the task; the others leave it. So an entry is
sent once a period however many schedulers run, and goes on when one of them is killed.
"""

from datetime import UTC, datetime
from typing import Any

from celery.beat import ScheduleEntry, Scheduler
from django.db import close_old_connections, transaction

from studio.models import ScheduleClaim

#: For entries whose schedule is no interval: none of them comes due twice in a minute.
SHORTEST_SECONDS = 60


def claim_period(name: str, *, seconds: float, now: datetime) -> bool:
    """Whether this call is the first for `name` in the period that holds `now`. Two queries."""
    length = max(1, round(seconds * 1000))
    period = int(now.timestamp() * 1000) // length
    values = {"period": period, "milliseconds": length, "claimed_at": now}
    with transaction.atomic():
        _, first = ScheduleClaim.objects.get_or_create(name=name, defaults=values)
        if first:
            return True
        # With another length the periods are counted anew.
        open_one = ScheduleClaim.objects.filter(name=name).exclude(
            milliseconds=length, period__gte=period
        )
        return open_one.update(**values) == 1


class OncePerPeriod(Scheduler):
    """Sends an entry only when it claimed the period; picks up the times of the last run."""

    def setup_schedule(self) -> None:
        """Take the schedule from the settings and the last times from the database."""
        self.install_default_entries(self.schedule)
        self.merge_inplace(self.app.conf.beat_schedule)
        claimed = dict(ScheduleClaim.objects.values_list("name", "claimed_at"))
        for name, entry in self.schedule.items():
            if name in claimed:
                entry.last_run_at = claimed[name]

    def apply_async(
        self, entry: ScheduleEntry, producer: Any = None, advance: bool = True, **options: Any
    ) -> Any:
        """Send the entry's task, or None when another scheduler has this period."""
        # A scheduler lives for months: a connection that the database gave up is made anew.
        close_old_connections()
        if not claim_period(str(entry.name), seconds=_seconds(entry), now=datetime.now(UTC)):
            return None
        return super().apply_async(entry, producer=producer, advance=advance, **options)


def _seconds(entry: ScheduleEntry) -> float:
    every = getattr(entry.schedule, "run_every", None)
    return every.total_seconds() if every else SHORTEST_SECONDS
