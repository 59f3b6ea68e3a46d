"""Model fields that keep numbers exact in any database, and codes fit to be addresses.

SQLite stores a DecimalField as REAL, whose sums are not exact; so every number of the books is
an integer column. `FixedPointField` gives such a column the face of a Decimal.
"""

from collections.abc import Callable
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any, ClassVar, TypeVar, cast

from django.core import exceptions
from django.db import models
from django.utils.functional import cached_property
from django.utils.text import slugify

from studio.foundation.errors import Fault, InvalidInput
from studio.foundation.money import MAX_MONEY

if TYPE_CHECKING:
    from django.db.models.expressions import Combinable

    _Set_contra = TypeVar("_Set_contra", contravariant=True)
    _Get_co = TypeVar("_Get_co", covariant=True)

    class _Integer(models.BigIntegerField[_Set_contra, _Get_co]):
        _pyi_private_set_type: int | str | Combinable
        _pyi_private_get_type: int

    _Slug = models.SlugField[str, str]

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
    _Slug = models.SlugField


@dataclass(frozen=True, slots=True)
class Between:
    """A field's validator: from `low` to `high`, both included unless `above_low`.

    `message` may show the value as {value}. Migrations keep the bounds without their words.
    """

    low: Decimal | int
    high: Decimal | int
    message: str
    above_low: bool = False
    code: str = "out-of-range"

    def __call__(self, value: Decimal | int) -> None:
        if value > self.high or value < self.low or (self.above_low and value == self.low):
            words = self.message.format(value=value)
            raise exceptions.ValidationError(words, code=self.code)

    def deconstruct(self) -> tuple[str, list[Any], dict[str, Any]]:
        return (
            "studio.foundation.model_fields.Between",
            [self.low, self.high, "", self.above_low],
            {},
        )


MONEY = Between(0, MAX_MONEY, "Money is not below zero here, nor too large.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What people are told of a field, on pages, in the API and in tables alike.

    `label` and `help` stand in forms, `meaning` in tables and the API, `unit` and the invented
    `example` in tables. `write` puts a value into words where its column alone cannot.
    """

    label: str
    help: str = ""
    meaning: str = ""
    example: str = ""
    unit: str = ""
    write: Callable[[Any], str] | None = None


_Any = TypeVar("_Any", bound="models.Field[Any, Any]")


def said(field: _Any, label: str, help: str = "", **words: Any) -> _Any:
    """The field with what people are told of it; words are no part of a migration."""
    field.said = Said(label=label, help=help, **words)  # type: ignore[attr-defined]
    return field


def said_of(field: "models.Field[Any, Any]") -> Said:
    """What people are told of a field; of one without words, its name."""
    return getattr(field, "said", None) or Said(label=str(field.verbose_name).capitalize())


def described(model: type[models.Model]) -> tuple[str, ...]:
    """The names of the fields that are described, in the order of the model."""
    return tuple(field.name for field in model._meta.fields if hasattr(field, "said"))


def rules(**said: models.Q | tuple[str, ...]) -> list[models.BaseConstraint]:
    """Constraints of a table by their names: what each row states, or the fields whose values
    together name one row."""
    return [
        models.CheckConstraint(condition=one, name=name)
        if isinstance(one, models.Q)
        else models.UniqueConstraint(fields=one, name=name)
        for name, one in said.items()
    ]


class StockField(_Integer[_Set_contra, _Get_co]):
    """An amount of stock: nanograms of what is weighed, pieces of what is counted."""

    description = "Stock amount (nanograms or pieces)"


class MeasureField(_Integer[_Set_contra, _Get_co]):
    """A measured quantity in base units; it is shown in `unit`, and written as in `written`."""

    unit: ClassVar[str]
    written: ClassVar[str]


class MassField(MeasureField[_Set_contra, _Get_co]):
    """A mass in nanograms."""

    description = "Mass (nanograms)"
    unit, written = "g", "50 g"


class VolumeField(MeasureField[_Set_contra, _Get_co]):
    """A volume in nanoliters."""

    description = "Volume (nanoliters)"
    unit, written = "mL", "120 mL"


class LengthField(MeasureField[_Set_contra, _Get_co]):
    """A length in nanometers."""

    description = "Length (nanometers)"
    unit, written = "mm", "3 1/2 in"


class MoneyField(_Integer[_Set_contra, _Get_co]):
    """Money in ten-thousandths of the studio currency."""

    description = "Money (ten-thousandths of the studio currency)"


#: Words of addresses that stand where a code may stand ("/recipes/molds/"): a record of that code
#: could never be opened. `tests/architecture/test_addresses.py` compares them with the addresses.
RESERVED_CODES = frozenset(
    {"asked", "break-even", "molds", "new", "profit", "recipes"}
    | {"scales", "setup", "start", "start-ladder", "tree", "what-if"}
)


def refuse_reserved(code: str) -> None:
    """Refuse a code that is a word of the studio's own addresses. Raises ValidationError."""
    if code in RESERVED_CODES:
        raise exceptions.ValidationError(
            f"'{code}' is a word of the studio's own addresses, so it could not be opened: choose "
            "another code.",
            code="reserved-code",
        )


class CodeField(_Slug):
    """The code by which people and addresses name a record; in the database a SlugField.

    Its validators tell a reserved word with the other faults of a record; what nobody validated is
    refused when it is saved, by InvalidInput.
    """

    default_validators = [*models.SlugField.default_validators, refuse_reserved]

    def deconstruct(self) -> Any:
        name, _, args, kwargs = super().deconstruct()
        return name, "django.db.models.SlugField", args, kwargs

    def contribute_to_class(self, cls: type[models.Model], name: str, *args: Any) -> None:
        super().contribute_to_class(cls, name, *args)
        if self.unique:  # The copies that a history keeps are not.
            # The signal, since what a field's own pre_save raises breaks the transaction.
            models.signals.pre_save.connect(self._refuse_saving, sender=cls)

    def _refuse_saving(self, instance: models.Model, **_: Any) -> None:
        try:
            refuse_reserved(getattr(instance, self.attname))
        except exceptions.ValidationError as error:
            fault = Fault("reserved-code", error.messages[0], self.name)
            raise InvalidInput(faults=[fault]) from None

    @staticmethod
    def made_from(text: str, *, most: int = 40) -> str:
        """A code made from a name, at most so long; empty where no letter of it can stay."""
        code = slugify(text)[:most].strip("-")
        return f"{code}-1" if code in RESERVED_CODES else code


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

    @cached_property
    def validators(self) -> list[Any]:
        """The column's bounds count its last place; Django would compare the number with them."""
        most = Decimal(2**63 - 1).scaleb(-self.places)
        fits = Between(-most, most, "That number is longer than can be kept.")
        return [*self.default_validators, *self._validators, fits]  # type: ignore[attr-defined]

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
            words = f"'{value}' is not a decimal number."
            raise exceptions.ValidationError(words, code="out-of-range") from error

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


class ShareField(FixedPointField[_Set_contra, _Get_co]):
    """A share as a fraction of 1, read from percent too; in the database a FixedPointField."""

    description = "Share as a fraction of 1"

    def __init__(self, *args: Any, places: int = 6, **kwargs: Any) -> None:
        super().__init__(*args, places=places, **kwargs)

    def deconstruct(self) -> Any:
        name, _, args, kwargs = super().deconstruct()
        return name, "studio.foundation.model_fields.FixedPointField", args, kwargs
