"""What has happened has a day: today in the studio's time zone, or one before."""

from datetime import date

from django.utils import timezone

from studio.foundation.errors import Faults


def take_day_to_come(
    faults: Faults, what: str, day: date, field: str = "on", *, instead: str = ""
) -> None:
    """Add a fault when `day` is still to come; `what` names the deed ("A pour").

    `instead` says where a coming day is written down.
    """
    if day > timezone.localdate():
        told = f"{what} is of today or of a day before. {instead}"
        faults.add("day-to-come", told.strip(), field)
