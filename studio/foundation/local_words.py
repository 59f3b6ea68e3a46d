"""Money and shares as people of the studio's locale write them, by Babel."""

from decimal import Decimal

from babel.numbers import format_percent
from django.conf import settings

from studio.foundation.money import format_money


def written_money(value: int) -> str:
    """Ten-thousandths of the studio's currency, rounded to its coins."""
    return format_money(value, currency=settings.STUDIO_CURRENCY, locale=settings.STUDIO_LOCALE)


def exact_money(value: int) -> str:
    """The same to the last digit, such as a price per gram."""
    return format_money(
        value, currency=settings.STUDIO_CURRENCY, locale=settings.STUDIO_LOCALE, exact=True
    )


def written_percent(share: Decimal, places: int = 4) -> str:
    """A share (0.05) in percent, of which `places` decimals of the share are shown."""
    return format_percent(
        round(share, places), locale=settings.STUDIO_LOCALE, decimal_quantization=False
    )
