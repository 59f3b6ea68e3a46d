"""A row checked by its model's own fields before it is saved, with every fault told."""

from collections.abc import Iterable

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import models

from studio.foundation.errors import Faults


def take_field_faults(
    faults: Faults, row: models.Model, *, only: Iterable[str], under: str = ""
) -> None:
    """Add what the model's fields refuse of `row`: too long, blank, not a code, no such choice.

    Only the plain fields named are looked at, so that no query is made.
    """
    wanted = set(only)
    others = {field.name for field in row._meta.fields} - wanted
    try:
        row.clean_fields(exclude=others)
    except ValidationError as error:
        _take(faults, error, under)
    # Django leaves the length of a TextField to forms; a CharField's it checks itself.
    for field in (f for f in row._meta.fields if isinstance(f, models.TextField)):
        limit = field.max_length
        if field.name in wanted and limit and len(getattr(row, field.name)) > limit:
            faults.add(
                "max-length",
                f"Write at most {limit} characters.",
                f"{under}.{field.name}" if under else field.name,
            )


def take_clashes(faults: Faults, row: models.Model, *, only: Iterable[str]) -> None:
    """Add a fault for each of these fields whose value another row already has. One query each."""
    wanted = set(only)
    others = {field.name for field in row._meta.fields} - wanted
    try:
        row.validate_unique(exclude=others)
    except ValidationError as error:
        _take(faults, error, "")


def _take(faults: Faults, error: ValidationError, under: str) -> None:
    for name, errors in error.error_dict.items():
        own = "" if name == NON_FIELD_ERRORS else name
        path = ".".join(part for part in (under, own) if part)
        # A column's own bounds say nothing new beside the field's.
        for single in [e for e in errors if e.code not in ("min_value", "max_value")] or errors:
            code = (single.code or "invalid").replace("_", "-")
            faults.add(code, " ".join(single.messages), path)
