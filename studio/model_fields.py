"""Model fields that keep numbers exact in any database.

SQLite stores a DecimalField as REAL, whose sums are not exact; so every number of the books is
an integer column. `FixedPointField` gives such a column the face of a Decimal.
"""

from decimal import ROUND_HALF_EVEN, Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any, TypeVar, cast

from django.core import exceptions
from django.db import models

if TYPE_CHECKING:
    from django.db.models.expressions import Combinable

    _Set_contra = TypeVar("_Set_contra", contravariant=True)
    _Get_co = TypeVar("_Get_co", covariant=True)

    class _Integer(models.BigIntegerField[_Set_contra, _Get_co]):
        _pyi_private_set_type: int | str | Combinable
        _pyi_private_get_type: int

    class _Decimals(models.BigIntegerField[_Set_contra, _Get_co]):
        _pyi_private_set_type: Decimal | int | str | Combinable  # type: ignore[assignment]
        _pyi_private_get_type: Decimal  # type: ignore[assignment]

else:
    _Set_contra = _Get_co = None

    class _Integer(models.BigIntegerField):
        """Django's fields know their types in the type checker's stubs only."""

        def __class_getitem__(cls, _: Any) -> type:
            return cls

    _Decimals = _Integer


class StockField(_Integer[_Set_contra, _Get_co]):
    """An amount of stock: nanograms of what is weighed, pieces of what is counted."""

    description = "Stock amount (nanograms or pieces)"


class MassField(_Integer[_Set_contra, _Get_co]):
    """A mass in nanograms."""

    description = "Mass (nanograms)"


class VolumeField(_Integer[_Set_contra, _Get_co]):
    """A volume in nanoliters."""

    description = "Volume (nanoliters)"


class LengthField(_Integer[_Set_contra, _Get_co]):
    """A length in nanometers."""

    description = "Length (nanometers)"


class MoneyField(_Integer[_Set_contra, _Get_co]):
    """Money in ten-thousandths of the studio currency."""

    description = "Money (ten-thousandths of the studio currency)"


class FixedPointField(_Decimals[_Set_contra, _Get_co]):
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
            return cast("int | None", value)
        number = self.to_python(value)
        return None if number is None else int(number.scaleb(self.places))

    def formfield(self, **kwargs: Any) -> Any:
        from django import forms  # noqa: PLC0415

        return models.Field.formfield(
            self, form_class=forms.DecimalField, decimal_places=self.places, **kwargs
        )
