"""Numbers and days on pages, as one person likes them: the one unit first, the other beside it."""

from datetime import date, datetime
from decimal import Decimal

from babel.dates import format_date
from django.conf import settings
from django.utils import timezone

from studio.foundation.units.writing import friendly_mass, friendly_volume
from studio.models import Preference


def written_mass(ng: int, units: str) -> tuple[str, str]:
    """A mass in the units a person reads first, and in the others."""
    metric, us = friendly_mass(ng), friendly_mass(ng, system="us")
    if ng and us.startswith("0 "):
        us = metric  # too little for ounces, which is not nothing
    return (us, metric) if units == Preference.Units.US else (metric, us)


def written_volume(nl: int, units: str) -> tuple[str, str]:
    """A volume in the units a person reads first, and in the others."""
    metric, us = friendly_volume(nl), friendly_volume(nl, system="us")
    return (us, metric) if units == Preference.Units.US else (metric, us)


def written_temperature(celsius: Decimal | None, units: str) -> str:
    """As a person's thermometer shows it and a field reads it, to a tenth of a degree."""
    if celsius is None:
        return ""
    is_us = units == Preference.Units.US
    shown, unit = (celsius * 9 / 5 + 32, "degF") if is_us else (celsius, "degC")
    return f"{shown.quantize(Decimal('0.1')).normalize():f} {unit}"


def written_day(day: date, dates: str) -> str:
    """A day (a moment's day in the studio's time zone) as a person likes it."""
    if isinstance(day, datetime):
        day = timezone.localtime(day).date() if timezone.is_aware(day) else day.date()
    if dates == Preference.Dates.LOCALE:
        return str(format_date(day, format="medium", locale=settings.STUDIO_LOCALE))
    return day.isoformat()
