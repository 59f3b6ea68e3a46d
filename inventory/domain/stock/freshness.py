"""How long a lot keeps: best before from the shelf life, and whether it has passed."""

from datetime import date, timedelta

from studio.foundation.errors import Faults, InvalidInput

LONGEST_SHELF_LIFE_DAYS = 36_500


def best_before(
    *, received_on: date, shelf_life_days: int | None, stated: date | None = None
) -> date | None:
    """The lot's best before: the supplier's stated date, else the shelf life from receipt.

    None when neither is known: the lot does not expire. Raises InvalidInput for a shelf life
    that isn't from 1 day to 100 years.
    """
    if stated is not None:
        return stated
    if shelf_life_days is None:
        return None
    if not 1 <= shelf_life_days <= LONGEST_SHELF_LIFE_DAYS:
        raise InvalidInput(
            f"A shelf life is from 1 to {LONGEST_SHELF_LIFE_DAYS} days.", field="shelf_life_days"
        )
    if (date.max - received_on).days < shelf_life_days:
        raise InvalidInput("The day of receipt is too far ahead.", field="received_on")
    return received_on + timedelta(days=shelf_life_days)


def moved_best_before(
    kept: date | None, *, was: date, received_on: date, shelf_life_days: int | None
) -> date | None:
    """The best before of a lot that came in on `received_on` instead of `was`.

    One that follows from the shelf life moves along; one that was stated, or is unknown, stays.
    """
    if kept is None or kept != best_before(received_on=was, shelf_life_days=shelf_life_days):
        return kept
    return best_before(received_on=received_on, shelf_life_days=shelf_life_days)


def check_best_before(
    faults: Faults,
    stated: date | None,
    *,
    received_on: date,
    shelf_life_days: int | None = None,
    field: str = "best_before",
) -> None:
    """Add a fault for a lot whose best before is before the day it came in, or cannot be told."""
    if stated is not None and stated < received_on:
        faults.add(
            "best-before-passed", f"Its best before {stated} is before the day it came in.", field
        )
    try:
        best_before(received_on=received_on, shelf_life_days=shelf_life_days, stated=stated)
    except InvalidInput as refusal:
        for fault in refusal.faults:
            faults.add(fault.code, fault.message, field)


def is_expired(best_before: date | None, *, on: date) -> bool:
    """Whether the best before has passed on that day; the day itself is still good."""
    return best_before is not None and best_before < on
