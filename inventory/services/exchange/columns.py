"""Columns that several tables have, and amounts of stock as tables write them."""

from django.conf import settings

from studio.foundation.tables.columns import Column
from studio.foundation.tables.kinds import Money, Number, Text, YesNo
from studio.foundation.units.registry import Dimension
from studio.foundation.units.writing import format_amount

MONEY = Money(settings.STUDIO_CURRENCY)
STOCK = (Dimension.MASS, Dimension.VOLUME, Dimension.COUNT)


def share(meaning: str) -> Number:
    """A share of the mass or of something else, as a fraction of 1 or in percent."""
    return Number(places=6, unit=meaning, percent=True)


def density_columns(whose: str) -> tuple[Column, Column]:
    """The two columns of a density and its temperature."""
    return (
        Column(
            "density_g_ml",
            Number(places=6, unit="in g/mL"),
            f"density {whose}, by which volumes are weighed",
            "0.915",
        ),
        Column(
            "density_temperature_c",
            Number(places=3, unit="in degrees Celsius", below_zero=True),
            "temperature of that density",
            "20",
        ),
    )


def share_column(name: str, meaning: str, example: str = "") -> Column:
    """A column of a share."""
    return Column(name, share("a share of 1"), meaning, example)


def text_column(name: str, longest: int, meaning: str, example: str = "") -> Column:
    """A column of text that may be empty."""
    return Column(name, Text(longest), meaning, example, empty="")


def yes_no_column(name: str, meaning: str, *, empty: bool | None, example: str = "") -> Column:
    """A column of yes or no with what an empty cell stands for."""
    return Column(name, YesNo(), meaning, example, empty=empty)


def stock_text(amount: int | None, *, counted: bool) -> str | None:
    """An amount in stock units as a table writes it, exactly: "1250 g", "12 each"."""
    if amount is None:
        return None
    unit = "each" if counted else "g"
    return f"{format_amount(amount, unit)} {unit}"
