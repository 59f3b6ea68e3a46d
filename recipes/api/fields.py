"""Fields that only the recipes read and write."""

from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

from rest_framework import serializers

from recipes.domain.weighing import MOST_BARS
from studio.foundation.units.conversion import temperature_c
from studio.foundation.units.quantity import Quantity, UnitRefusal
from studio.foundation.units.registry import UNITS, Dimension
from studio.web.serializer_fields.numbers import ShareField
from studio.web.serializer_fields.quantities import QuantityField
from studio.web.serializer_fields.reading import as_api_error

CELSIUS = "degC"
#: No studio keeps books outside of these; it also catches a year typed wrong.
FIRST_DAY, LAST_DAY = date(2000, 1, 1), date(2199, 12, 31)
#: The largest amount of a line that a formula may have.
GREATEST_AMOUNT = Decimal(10_000_000)


class TemperatureField(QuantityField):
    """A temperature, read in degC or degF and kept and written in degrees Celsius."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(dimensions=(Dimension.TEMPERATURE,), unit=CELSIUS, **kwargs)

    def to_internal_value(self, data: Any) -> Decimal:
        try:
            return temperature_c(super().to_internal_value(data))
        except UnitRefusal as refusal:
            raise as_api_error(refusal) from refusal

    def to_representation(self, value: Any) -> dict[str, str]:
        return super().to_representation(Quantity(Fraction(value), UNITS[CELSIUS]))


class DayField(serializers.DateField):
    """A day of this century or the next."""

    def to_internal_value(self, value: Any) -> date:
        day = super().to_internal_value(value)
        if not FIRST_DAY <= day <= LAST_DAY:
            raise serializers.ValidationError(
                f"A day from {FIRST_DAY} to {LAST_DAY}.", "day-outside"
            )
        return day


class AcceptWorstField(ShareField):
    """The figure of `worst-not-accepted` that is accepted, by whoever sends it."""

    def __init__(self) -> None:
        super().__init__(
            min_value=Decimal(-1),
            max_value=Decimal(0),
            required=False,
            help_text="Accepts, by name and once for the version, that the superfat may be as low"
            " as this at its worst: the `worst` of the refusal `worst-not-accepted`.",
        )


class LineAmountField(ShareField):
    """The amount of a formula's line; "70 %" is read too, where the basis is a share."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=Decimal(0), max_value=GREATEST_AMOUNT, **kwargs)

    def _schema(self) -> dict[str, Any]:
        return {
            **super()._schema(),
            "example": "0.7",
            "description": "By the basis of the line: a fraction of 1 (or percent), g or pieces.",
        }


class BarsCount(serializers.IntegerField):
    """A number of bars, from 1 to as many as one batch makes."""

    def __init__(self, **kwargs: Any) -> None:
        if not kwargs.get("read_only"):
            kwargs = {"min_value": 1, "max_value": MOST_BARS, **kwargs}
        super().__init__(**kwargs)
