"""Model fields that keep numbers exact in any database.

SQLite stores a DecimalField as REAL, whose sums are not exact; so every number of the books is
an integer column. `FixedPointField` gives such a column the face of a Decimal.
"""

from decimal import ROUND_HALF_EVEN, Decimal, InvalidOperation
from typing import Any

from django.core import exceptions
from django.db import models


class StockField(models.BigIntegerField):
    """An amount of stock: nanograms of what is weighed, pieces of what is counted."""

    description = "Stock amount (nanograms or pieces)"


class MassField(models.BigIntegerField):
    """A mass in nanograms."""

    description = "Mass (nanograms)"


class VolumeField(models.BigIntegerField):
    """A volume in nanoliters."""

    description = "Volume (nanoliters)"


class LengthField(models.BigIntegerField):
    """A length in nanometers."""

    description = "Length (nanometers)"


class MoneyField(models.BigIntegerField):
    """Money in ten-thousandths of the studio currency."""

    description = "Money (ten-thousandths of the studio currency)"


class FixedPointField(models.BigIntegerField):
    """A Decimal with a fixed number of places, kept as an integer of its last place.

    Values between two places are rounded half to even, once, when they are written.
    """

    description = "Decimal number kept as an integer of its last place"

    def __init__(self, *args: Any, places: int, **kwargs: Any) -> None:
        self.places = places
        super().__init__(*args, **kwargs)

    def deconstruct(self) -> Any:
        name, path, args, kwargs = super().deconstruct()
        kwargs["places"] = self.places
        return name, path, args, kwargs

    def from_db_value(self, value: int | None, *_: Any) -> Decimal | None:
        return None if value is None else Decimal(value).scaleb(-self.places)

    def to_python(self, value: Any) -> Decimal | None:
        if value is None:
            return value
        if isinstance(value, float):
            raise exceptions.ValidationError("A float is not exact: give a Decimal or text.")
        try:
            number = Decimal(value)
            if not number.is_finite():
                raise InvalidOperation
            return number.quantize(Decimal(1).scaleb(-self.places), ROUND_HALF_EVEN)
        except (InvalidOperation, TypeError, ValueError) as error:
            raise exceptions.ValidationError(f"'{value}' is not a decimal number.") from error

    def get_prep_value(self, value: Any) -> int | None:
        if value is None or hasattr(value, "resolve_expression"):
            return value
        number = self.to_python(value)
        return None if number is None else int(number.scaleb(self.places))

    def formfield(self, **kwargs: Any) -> Any:
        from django import forms  # noqa: PLC0415

        return models.Field.formfield(
            self, form_class=forms.DecimalField, decimal_places=self.places, **kwargs
        )
