"""Rows that one worker takes at a time, so that no killed worker and no lost message loses them.

    row = claim(Mail.objects.all(), pk, now=now, lease=CLAIM)   # None when another has it
    row.renew(clock() + CLAIM, rows_checked=40)                 # while it is being worked on
    with transaction.atomic():
        row.hold()                                              # no other takes it before the end
        ...                                                     # the effect
        row.settle(sent_at=now)

A row is free when nobody has it or the lease of whoever had it is over. `renew`, `hold` and
`settle` raise TakenOver once it is another's: nothing of the late one may stay.
"""

import zlib
from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any, ClassVar, TypeVar

from django.conf import settings
from django.db import connection, models, transaction
from django.db.models import F, Q, QuerySet


def take_turn(name: str, *, shared: bool = False) -> None:
    """Wait until nobody else holds the turn `name`, and hold it until the transaction ends.

    Those who take it `shared` do not wait for each other, only for one who takes it alone. SQLite
    lets one writing transaction in at a time (they begin IMMEDIATE), so there is nothing to wait
    for; PostgreSQL has advisory locks for this. Raises RuntimeError outside a transaction.
    """
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("a turn is taken inside a transaction only")
    if connection.vendor == "postgresql":
        lock = "pg_advisory_xact_lock_shared" if shared else "pg_advisory_xact_lock"
        with connection.cursor() as cursor:
            cursor.execute(f"SELECT {lock}(%s)", [zlib.crc32(name.encode())])


#: A message that no worker took for so long is taken for lost.
PATIENCE = timedelta(minutes=2)
MOST_ATTEMPTS = 5
LONGEST_TROUBLE = 200


class TakenOver(Exception):
    """Another worker has the row since this one's lease ran out, or it was given up."""


class Leased(models.Model):
    """Something to be done by one worker at a time. `trouble` says why the last try failed."""

    #: The column that says until when a worker has the row.
    lease_column: ClassVar[str] = "lease_until"
    #: What else a row says while a worker has it. With nothing, an empty lease says that none has.
    taken_values: ClassVar[Mapping[str, Any]] = {}

    attempts = models.PositiveIntegerField(default=0)
    trouble = models.CharField(max_length=LONGEST_TROUBLE, blank=True)

    class Meta:
        abstract = True

    @classmethod
    def to_do(cls, now: datetime) -> Q:
        """The condition of rows that are still to be done, whoever has them."""
        raise NotImplementedError

    @classmethod
    def free(cls, now: datetime) -> Q:
        """The condition of rows that a worker may take."""
        over = Q(**{f"{cls.lease_column}__lte": now})
        taken = Q(**cls.taken_values) if cls.taken_values else Q(**{f"{cls.lease_column}__gt": now})
        return cls.to_do(now) & (over | ~taken)

    def renew(self, until: datetime, **values: Any) -> None:
        """Keep the row for longer, and write values to it. One query. Raises TakenOver."""
        self.settle(**{self.lease_column: until}, **values)

    def settle(self, **values: Any) -> None:
        """Write to the row what came of it, or that it is free again. One query. TakenOver."""
        if not self._mine().update(**values):
            raise TakenOver
        for name, value in values.items():
            setattr(self, name, value)

    def hold(self) -> None:
        """Lock the row until the transaction ends. One query. Raises TakenOver."""
        if not self._mine().select_for_update().values_list("pk", flat=True).first():
            raise TakenOver

    def _mine(self) -> "QuerySet[Any]":
        # Whoever takes it counts an attempt up, and whoever gives it back empties the lease.
        lease = {self.lease_column: getattr(self, self.lease_column), "attempts": self.attempts}
        rows: QuerySet[Any] = type(self)._default_manager.filter(pk=self.pk)
        return rows.filter(**self.taken_values, **lease).order_by()


Row = TypeVar("Row", bound=Leased)


def claim(rows: "QuerySet[Row]", pk: int, *, now: datetime, lease: timedelta) -> Row | None:
    """Take a row until its lease ends; None when another has it or it is over. Two queries."""
    model = rows.model
    values = {**model.taken_values, model.lease_column: now + lease, "attempts": F("attempts") + 1}
    return rows.get(pk=pk) if rows.filter(model.free(now), pk=pk).update(**values) else None


def overdue(rows: "QuerySet[Row]", *, now: datetime) -> list[int]:
    """The rows that nobody took or finished in time, to be sent again. Two queries.

    Those that nobody had are waited for as long again; others keep the lapsed lease, by which a
    worker may take them.
    """
    lease = rows.model.lease_column
    late = rows.filter(rows.model.to_do(now), **{f"{lease}__lte": now}).order_by("pk")
    found = list(late.values_list("pk", flat=True))
    waiting = rows.filter(pk__in=found).exclude(**rows.model.taken_values)
    waiting.update(**{lease: now + PATIENCE})
    return found


def longest_lease() -> timedelta:
    """Longer than any task is let run: whoever had a row before is dead by then."""
    return timedelta(seconds=settings.CELERY_TASK_TIME_LIMIT + 60)


def trouble_of(error: Exception) -> str:
    """What went wrong, as a row keeps it."""
    return f"{type(error).__name__}: {error}"[:LONGEST_TROUBLE]
