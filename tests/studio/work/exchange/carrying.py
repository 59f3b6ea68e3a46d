"""Tables carried in and out within a test, as a worker and the schedule would."""

from contextlib import contextmanager

from django.db import transaction
from django.utils import timezone

from studio.work.exchange import files, runs, starting


@contextmanager
def undone():
    """What is done inside is undone, so that examples of a property do not see each other."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def exported(name, *, by, form="csv", delimiter="comma"):
    """The bytes of an export."""
    return b"".join(files.export_file(name, form=form, delimiter=delimiter, by=by).parts)


def handed_in(name, content, *, by, mode="create", dry_run=False):
    """A file handed in, not yet looked at by any worker."""
    content = content.encode() if isinstance(content, str) else content
    return starting.start_import(
        name, content, mode=mode, dry_run=dry_run, by=by, now=timezone.now()
    )


def carried_on(run):
    """What one worker makes of it."""
    runs.do_import(run.pk, clock=timezone.now)
    run.refresh_from_db()
    return run


def imported(name, content, *, by, mode="create"):
    """A file handed in, checked and imported; the run as it ended."""
    run = carried_on(handed_in(name, content, by=by, mode=mode))
    return carried_on(run) if run.state == "importing" else run


def told(run):
    """Its faults as (row, column, code)."""
    return [(fault["row"], fault["column"], fault["code"]) for fault in run.faults]


def counted(run):
    """State, and how many codes were created, changed and left as they were."""
    return run.state, run.created, run.changed, run.unchanged
