"""Master data kept: what changed of a row is checked by its model's fields, and only that saved.

An edge makes a row with the changed values (`changed`) and names them. Its service is then

    @transaction.atomic
    def save_place(given, names=None, *, by=None, expected=None):
        place, was = locked(given, names, expected)
        faults = faults_of(place, names)
        ...                                # rules that need more than one field
        faults.raise_if_any(PlaceRefusal)
        return keep(place, names, by=by)

A row that was read a while ago is never saved whole, or what others changed since would be lost.
"""

from collections.abc import Collection, Mapping
from copy import copy
from typing import Any, TypeVar

from studio.foundation.doers import By
from studio.foundation.errors import Faults
from studio.foundation.model_fields import described
from studio.models import ChangedMeanwhile, Revised, lock_kept
from studio.work.cleaning import take_clashes, take_field_faults

Kept = TypeVar("Kept", bound=Revised)
#: Names of fields; None stands for all that are described.
Names = Collection[str] | None
#: The revisions that may be there, since they were read; None for whatever is there.
Expected = Collection[int] | None


def changed(row: Kept, values: Mapping[str, Any]) -> Kept:
    """A copy of a row with some values. Only those are saved, when their names are given."""
    given = copy(row)
    for name, value in values.items():
        setattr(given, name, value)
    return given


def locked(given: Kept, names: Names, expected: Expected = None) -> tuple[Kept, Kept | None]:
    """The row as it is now with the changed values, and as it was; a new one was None. One query.

    It stays locked until the end of the transaction. Raises NotFound, and ChangedMeanwhile when its
    revision is not an expected one.
    """
    if given.pk is None:
        return given, None
    was = lock_kept(type(given), given.pk)
    if expected is not None and was.revision not in expected:
        raise ChangedMeanwhile(ChangedMeanwhile.told, details={"revision": was.revision})
    values = {name: getattr(given, name) for name in _named(given, names)}
    return changed(was, values), was


def faults_of(row: Revised, names: Names) -> Faults:
    """What the fields refuse of the values with these names, and codes that are taken already."""
    named = set(described(type(row)) if row.pk is None else _named(row, names))
    faults = Faults()
    take_field_faults(faults, row, only=named)
    if not faults:
        unique = {field.name for field in row._meta.fields if field.unique}
        if named & unique:
            take_clashes(faults, row, only=named & unique)
    return faults


def keep(row: Kept, names: Names, *, by: By = None) -> Kept:
    """Save the values with these names and raise the revision; a new row is saved whole."""
    named(row, by)
    if row.pk is None:
        row.save()
        return row
    row.revision += 1
    row.save(update_fields={*_named(row, names), "revision", "updated_at"})
    return row


def named(row: Revised, by: By) -> None:
    """Have a row that is about to be saved, and its history, name who does it."""
    if by is not None:
        row.changed_by = by
        # Read by histories, as is known there by this name.
        row._history_user = by  # type: ignore[attr-defined]


def _named(row: Revised, names: Names) -> Collection[str]:
    return described(type(row)) if names is None else names
