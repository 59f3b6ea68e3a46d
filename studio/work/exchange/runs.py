"""Imports as workers carry them on: checked with visible progress, then all in or nothing.

A worker claims a run until its lease ends and renews it while it checks. A worker that lost its
lease, or whose run was given up, may not leave anything: see `studio.work.leases`.
"""

import logging
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import islice
from typing import Any

from celery.exceptions import SoftTimeLimitExceeded
from django.core.exceptions import ValidationError
from django.db import DataError, IntegrityError, transaction

from studio.foundation.doers import acting
from studio.foundation.errors import Refusal
from studio.foundation.roles import may_see_costs
from studio.foundation.tables.columns import CellFault, Reading, Row, read_rows
from studio.foundation.tables.saved import read_file
from studio.models import ImportRun
from studio.work.exchange.registry import ExchangeTable, Outcome, Taking, refuse_unless, table_named
from studio.work.exchange.starting import KEPT, TASK, forget_checked
from studio.work.leases import (
    MOST_ATTEMPTS,
    PATIENCE,
    TakenOver,
    claim,
    longest_lease,
    overdue,
    trouble_of,
)
from studio.work.waking import wake

_CLASH = "It clashes with something that is there already, or the database cannot keep it."


@dataclass(slots=True)
class Tally:
    """What became of the codes so far."""

    created: int = 0
    changed: int = 0
    unchanged: int = 0
    faults: list[CellFault] = field(default_factory=list)

    def count(self, outcome: Outcome) -> None:
        """One more code."""
        setattr(self, outcome.value, getattr(self, outcome.value) + 1)


def by_code(rows: Iterable[Row], table: ExchangeTable) -> list[tuple[Row, ...]]:
    """The rows of each code together, in the order in which the codes come first."""
    groups: dict[object, list[Row]] = {}
    for row in rows:
        # A row whose code cannot be read stands alone.
        groups.setdefault(row.values.get(table.layout.key, row.number), []).append(row)
    return [tuple(group) for group in groups.values()]


def take_all(
    groups: Iterable[Sequence[Row]], table: ExchangeTable, taking: Taking, tally: Tally
) -> None:
    """Give each code to the table's service; what it refuses leaves nothing behind.

    Must be called inside a transaction, which the caller commits or takes back.
    """
    known = {column.name for column in table.layout.columns}
    for rows in groups:
        if not all(row.sound for row in rows):
            continue
        if len(rows) > 1 and not table.many_rows:
            tally.faults += _twice(rows, table)
            continue
        try:
            with transaction.atomic():
                tally.count(table.take(rows, taking))
        except Refusal as refusal:
            tally.faults += _placed(refusal, rows, table, known)
        except (IntegrityError, DataError):
            tally.faults.append(CellFault(rows[0].number, "", "clash", _CLASH))
        except ValidationError as error:
            words = " ".join(error.messages)
            tally.faults.append(CellFault(rows[0].number, "", "invalid", words))


def _placed(
    refusal: Refusal, rows: Sequence[Row], table: ExchangeTable, known: set[str]
) -> Iterator[CellFault]:
    for fault in refusal.faults:
        row, column = table.place(rows, fault.field)
        yield CellFault(row, column if column in known else "", fault.code, fault.message)


def _twice(rows: Sequence[Row], table: ExchangeTable) -> Iterator[CellFault]:
    first, *others = rows
    for row in others:
        yield CellFault(
            row.number,
            table.layout.key,
            "code-twice",
            f"The code stands in row {first.number} already: write each once.",
        )


logger = logging.getLogger(__name__)

State = ImportRun.State
Clock = Callable[[], datetime]
#: More are counted, but not kept one by one.
MOST_KEPT_FAULTS = 20_000
#: Codes that are checked in one go; others write in between.
AT_ONCE = 100
#: How long finished imports can be looked up.
REMEMBERED = timedelta(days=90)
_NOTHING_CHANGED = "Nothing was changed."


def do_import(pk: int, *, clock: Clock) -> None:
    """Carry an import on by one step, unless another worker has it; may be called twice."""
    run = _claim(pk, now=clock())
    if run is None:
        return
    try:
        _step(run, clock)
    except TakenOver:
        logger.warning("Import %s was taken over or given up", pk)
    except SoftTimeLimitExceeded:
        _refuse(run, Tally(), "It took too long: hand the rows in in several files.", now=clock())
    except Exception as error:  # whatever it was, the row must tell
        logger.exception("Import %s could not be carried on", pk)
        _put_back(run, error, now=clock())


def resend_overdue(*, now: datetime) -> list[int]:
    """Wake workers for imports that nobody took or finished in time, and forget old ones."""
    again = overdue(ImportRun.objects.all(), now=now)
    wake(TASK, [{"run": pk} for pk in again])
    forget_checked(now=now)
    ImportRun.objects.filter(finished_at__lt=now - REMEMBERED).delete()
    return again


def _claim(pk: int, *, now: datetime) -> ImportRun | None:
    """Take a run until its lease ends; None when another has it or it is over. Two queries."""
    run = claim(ImportRun.objects.select_related("by"), pk, now=now, lease=PATIENCE)
    if run is not None and run.attempts > MOST_ATTEMPTS:  # each time its worker was killed
        _refuse(run, Tally(), f"{MOST_ATTEMPTS} workers could not finish it.", now=now)
        return None
    return run


def _step(run: ImportRun, clock: Clock) -> None:
    try:
        table = table_named(run.table)
        refuse_unless(table, table.needed, run.by)
        costs = may_see_costs(run.by)
        sheet = read_file(bytes(run.content), table.layout)
        reading = read_rows(sheet, table.layout, costs=costs)
    except Refusal as refusal:
        faults = [CellFault(0, "", fault.code, fault.message) for fault in refusal.faults]
        _refuse(run, Tally(faults=faults), _NOTHING_CHANGED, now=clock())
        return
    taking = Taking(by=run.by, change=run.mode == ImportRun.Mode.CHANGE, costs=costs)
    with acting(lambda: run.by, because=f"taken in from {run.file_name or 'a table'}"):
        if run.state == State.CHECKING:
            _check(run, table, taking, reading, clock)
        else:
            _import(run, table, taking, reading, clock)


def _check(
    run: ImportRun, table: ExchangeTable, taking: Taking, reading: Reading, clock: Clock
) -> None:
    """Do each row's work and take it back, some at a time, telling how far it is."""
    tally = Tally(faults=list(reading.faults))
    checked = 0
    run.settle(rows_total=len(reading.rows), rows_checked=0)
    groups = iter(by_code(reading.rows, table))
    while part := list(islice(groups, AT_ONCE)):
        with transaction.atomic():
            take_all(part, table, taking, tally)
            transaction.set_rollback(True)
        checked += sum(len(rows) for rows in part)
        run.renew(clock() + PATIENCE, rows_checked=checked)
    if tally.faults and not run.dry_run:
        _refuse(run, tally, _NOTHING_CHANGED, now=clock())
    elif run.dry_run:
        # A file with faults cannot be imported, so it is not kept.
        file = {"content": b""} if tally.faults else {}
        told = {**_told(tally), **file}
        run.renew(clock() + KEPT, state=State.CHECKED, taken=False, **told)
    else:
        # The import is a task of its own, with all of its time before it.
        run.renew(clock() + PATIENCE, state=State.IMPORTING, taken=False, attempts=0)
        wake(TASK, [{"run": run.pk}])


def _import(
    run: ImportRun, table: ExchangeTable, taking: Taking, reading: Reading, clock: Clock
) -> None:
    """All rows in one transaction with the run's end, or nothing with the reasons."""
    tally = Tally(faults=list(reading.faults))
    groups: Sequence[Sequence[Row]] = by_code(reading.rows, table)
    run.renew(clock() + longest_lease())
    with transaction.atomic():
        run.hold()
        take_all(groups, table, taking, tally)
        if tally.faults:
            transaction.set_rollback(True)
        else:
            ended = {"state": State.DONE, "finished_at": clock(), "content": b"", "trouble": ""}
            run.settle(**ended, **_told(tally))
    if tally.faults:
        _refuse(run, tally, _NOTHING_CHANGED, now=clock())


def _told(tally: Tally) -> dict[str, Any]:
    """What a run tells of its rows."""
    faults = sorted(tally.faults, key=lambda fault: fault.row)
    return {
        "created": tally.created,
        "changed": tally.changed,
        "unchanged": tally.unchanged,
        "faults_total": len(faults),
        "faults": [
            {
                "row": fault.row,
                "column": fault.column,
                "code": fault.code,
                "message": fault.message,
            }
            for fault in faults[:MOST_KEPT_FAULTS]
        ],
    }


def _refuse(run: ImportRun, tally: Tally, trouble: str, *, now: datetime) -> None:
    told = {**_told(tally), "created": 0, "changed": 0, "unchanged": 0}
    run.settle(state=State.REFUSED, finished_at=now, content=b"", trouble=trouble, **told)


def _put_back(run: ImportRun, error: Exception, *, now: datetime) -> None:
    """Let an import that went wrong be tried again later."""
    try:
        if run.attempts < MOST_ATTEMPTS:
            run.renew(now + PATIENCE, taken=False, trouble=trouble_of(error))
        else:
            _refuse(run, Tally(), trouble_of(error), now=now)
    except TakenOver:
        logger.warning("Import %s was taken over or given up", run.pk)
