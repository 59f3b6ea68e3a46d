"""Numbers and days on pages, as one person likes them: the one unit first, the other beside it."""

from datetime import date, datetime
from decimal import ROUND_HALF_EVEN, Decimal

from babel.dates import format_date
from django.conf import settings
from django.utils import timezone

from studio.models import Preference
from studio.money import format_money
from studio.units import friendly_mass, friendly_volume


def money_locale() -> tuple[str, str]:
    """The studio's currency and locale."""
    return settings.STUDIO_CURRENCY, settings.STUDIO_LOCALE


def written_money(value: int, *, exact: bool = False) -> str:
    """Ten-thousandths of the studio's currency as its people write them."""
    currency, locale = money_locale()
    return format_money(value, currency=currency, locale=locale, exact=exact)


def written_mass(ng: int, units: str) -> tuple[str, str]:
    """A mass in the units a person reads first, and in the others."""
    metric, us = friendly_mass(ng), friendly_mass(ng, system="us")
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


def written_count(number: int) -> str:
    """Pieces."""
    return "1 piece" if number == 1 else f"{number:,} pieces"


def written_share(value: Decimal, places: int = 2) -> str:
    """A share (0.05) in percent ("5 %"), with no more than `places` decimals."""
    percent = (value * 100).quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN)
    text = f"{percent:f}"
    return f"{text.rstrip('0').rstrip('.') if '.' in text else text} %"


def written_day(day: date, dates: str) -> str:
    """A day (a moment's day in the studio's time zone) as a person likes it."""
    if isinstance(day, datetime):
        day = timezone.localtime(day).date() if timezone.is_aware(day) else day.date()
    if dates == Preference.Dates.LOCALE:
        return str(format_date(day, format="medium", locale=settings.STUDIO_LOCALE))
    return day.isoformat()
