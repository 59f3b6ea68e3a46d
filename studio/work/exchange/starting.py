"""Imports as people start, follow, carry on and give them up."""

from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import QuerySet

from studio.foundation.doers import Doer
from studio.foundation.errors import InvalidInput, NotFound
from studio.foundation.roles import Role, role_of
from studio.foundation.tables.cells import TableRefusal
from studio.models import ImportRun
from studio.work.exchange.registry import ImportConflict, refuse_unless, table_named
from studio.work.leases import PATIENCE
from studio.work.waking import wake

TASK = "studio.tasks.do_import"
MOST_BYTES = 12_000_000
#: Files that one account may have waiting at once.
MOST_WAITING = 5
#: How long a checked file waits for somebody to import it.
KEPT = timedelta(days=7)
#: Whole file names are of no use; their ends are.
_NAME = 200


@transaction.atomic
def start_import(
    name: str,
    content: bytes,
    *,
    mode: str = ImportRun.Mode.CREATE,
    dry_run: bool = True,
    file_name: str = "",
    by: Doer,
    now: datetime,
) -> ImportRun:
    """Keep a file to be checked, and imported if it is clean and this is no dry run.

    Raises NotFound, TableClosed, InvalidInput for an unknown mode, TableRefusal for an empty or
    too large file, ImportConflict when too many files wait.
    """
    table = table_named(name)
    refuse_unless(table, table.needed, by)
    _check_given(content, mode)
    _check_waiting(by)
    run = ImportRun.objects.create(
        table=name,
        mode=mode,
        dry_run=dry_run,
        file_name=file_name.replace("\x00", "")[-_NAME:],
        content=content,
        lease_until=now + PATIENCE,
        by=by,
        created_at=now,
    )
    wake(TASK, [{"run": run.pk}])
    return run


@transaction.atomic
def go_on(pk: int, *, by: Doer, now: datetime) -> ImportRun:
    """Import what a dry run found clean. Raises NotFound, TableClosed, ImportConflict."""
    run = _locked(pk, by)
    table = table_named(run.table)
    refuse_unless(table, table.needed, by)
    if run.state != ImportRun.State.CHECKED:
        raise ImportConflict(f"Only what was checked can be imported; this is {run.state}.")
    if run.faults_total:
        raise ImportConflict(
            f"Faults in it: {run.faults_total}. Mend them in the file and hand it in again."
        )
    run.state, run.dry_run = ImportRun.State.IMPORTING, False
    run.taken, run.attempts, run.lease_until = False, 0, now + PATIENCE
    run.save(update_fields=["state", "dry_run", "taken", "attempts", "lease_until"])
    wake(TASK, [{"run": run.pk}])
    return run


@transaction.atomic
def discard(pk: int, *, by: Doer, now: datetime) -> ImportRun:
    """Give an import up that is not over. Raises NotFound, ImportConflict.

    A worker that has it finds out before it would change anything.
    """
    run = _locked(pk, by)
    if run.finished_at is not None:
        raise ImportConflict(f"It is over: {run.state}.")
    run.state, run.finished_at, run.content = ImportRun.State.REFUSED, now, b""
    run.taken, run.trouble = False, "Given up before anything was changed."
    run.save(update_fields=["state", "finished_at", "content", "taken", "trouble"])
    return run


def runs_of(by: Doer) -> QuerySet[ImportRun]:
    """The imports that an account may follow, newest first: its own, and all for owners."""
    runs = ImportRun.objects.defer("content", "faults").select_related("by").order_by("-id")
    return runs if role_of(by) == Role.OWNER else runs.filter(by=by)


def run_of(pk: int, *, by: Doer) -> ImportRun:
    """One of them, with its faults. One query. Raises NotFound."""
    run = runs_of(by).defer(None).defer("content").filter(pk=pk).first()
    if run is None:
        raise NotFound(f"There is no import {pk} of yours.")
    return run


def forget_checked(*, now: datetime) -> None:
    """End checked files that nobody imported in time. One query."""
    ImportRun.objects.filter(state=ImportRun.State.CHECKED, lease_until__lte=now).update(
        state=ImportRun.State.REFUSED,
        finished_at=now,
        content=b"",
        trouble="Nobody imported it in time; hand the file in again.",
    )


def _check_given(content: bytes, mode: str) -> None:
    if mode not in ImportRun.Mode.values:
        raise InvalidInput(f"The mode is {' or '.join(ImportRun.Mode.values)}.", field="mode")
    if not content:
        raise TableRefusal.because("empty-file", "The file is empty.")
    if len(content) > MOST_BYTES:
        raise TableRefusal.because(
            "file-too-large",
            f"A file has at most {MOST_BYTES // 1_000_000} MB: hand it in in parts.",
        )


def _check_waiting(by: Doer) -> None:
    waiting = ImportRun.objects.filter(by=by, finished_at=None, faults_total=0).count()
    if waiting >= MOST_WAITING:
        raise ImportConflict(
            f"{waiting} of your imports are not finished: carry them on or give them up first."
        )


def _locked(pk: int, by: Doer) -> ImportRun:
    run_of(pk, by=by)
    return ImportRun.objects.select_for_update().defer("content").get(pk=pk)
