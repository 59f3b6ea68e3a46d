"""Master data of costing: a row is taken by its id, and kept with who changed it."""

from typing import TypeVar

from django.db import IntegrityError, transaction

from studio.foundation.doers import By
from studio.foundation.errors import Refusal
from studio.models import Revised, Unchanged, lock_kept
from studio.work.keeping import named

Kept = TypeVar("Kept", bound=Revised)


def row_to_change(
    model: type[Kept], row_id: int | None, unchanged: Unchanged | None = None
) -> Kept:
    """A new row, or the one with that id, locked and one revision on.

    Raises NotFound, and what `unchanged` raises.
    """
    if row_id is None:
        return model()
    row = lock_kept(model, row_id, unchanged)
    row.revision += 1
    return row


def keep_row(row: Kept, *, by: By, taken: Refusal | None = None) -> Kept:
    """Save it, with who did it. Raises `taken` when another row is in its place."""
    named(row, by)
    if taken is None:
        row.save()
        return row
    try:
        with transaction.atomic():
            row.save()
    except IntegrityError as error:
        raise taken from error
    return row
