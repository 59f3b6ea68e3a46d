"""Form fields for quantities, money and shares: text on the page, exact values behind it."""

import re
from collections.abc import Callable, Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.conf import settings
from django.core.exceptions import ValidationError

from studio.foundation import money
from studio.foundation.errors import InvalidInput, Refusal
from studio.foundation.units.grammar import MAX_TEXT, parse_quantity
from studio.foundation.units.quantity import Quantity
from studio.foundation.units.registry import Dimension
from studio.foundation.units.writing import format_amount

_PERCENT = re.compile(r"(-?[0-9]{1,4}(?:\.[0-9]{1,6})?) ?%?")


def as_form_error(refusal: Refusal) -> ValidationError:
    """All faults of a refusal as one Django ValidationError, with their codes."""
    return ValidationError([ValidationError(f.message, code=f.code) for f in refusal.faults])


class DayFormField(forms.DateField):
    """A day, picked from a calendar."""

    def __init__(self, **kwargs: Any) -> None:
        picker = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
        super().__init__(widget=picker, **kwargs)


class QuantityFormField(forms.Field):
    """A quantity as a maker writes it ("1 lb 4 oz"), of one of `dimensions`.

    Cleans to a `Quantity`, or to the integer that `stored` makes of it (`mass_ng`, `volume_nl`,
    `pieces`, `length_nm`); an empty optional field cleans to None. An initial integer is shown in
    `unit`.
    """

    widget = forms.TextInput

    def __init__(
        self,
        *,
        dimensions: Sequence[Dimension],
        stored: Callable[[Quantity], int] | None = None,
        unit: str | None = None,
        **kwargs: Any,
    ) -> None:
        self.dimensions = tuple(dimensions)
        self.stored = stored
        self.unit = unit
        super().__init__(**kwargs)

    def to_python(self, value: Any) -> Quantity | int | None:
        if value is None or isinstance(value, Quantity | int):
            return value
        text = str(value).strip()
        if not text:
            return None
        try:
            quantity = parse_quantity(text, *self.dimensions)
            return quantity if self.stored is None else self.stored(quantity)
        except Refusal as refusal:
            raise as_form_error(refusal) from refusal

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, int) and self.unit is not None:
            return f"{format_amount(value, self.unit)} {self.unit}"
        return value if value is None else str(value)

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return {**super().widget_attrs(widget), "maxlength": str(MAX_TEXT)}


class MoneyFormField(forms.Field):
    """An amount of the studio currency, written as the locale (the studio's by default) does.

    Cleans to ten-thousandths; an empty optional field cleans to None.
    """

    widget = forms.TextInput

    def __init__(
        self, *, allow_negative: bool = False, locale: str | None = None, **kwargs: Any
    ) -> None:
        self.allow_negative = allow_negative
        self.locale = locale or settings.STUDIO_LOCALE
        super().__init__(**kwargs)

    def to_python(self, value: Any) -> int | None:
        if value is None or isinstance(value, int):
            return value
        text = str(value).strip()
        if not text:
            return None
        try:
            return money.parse_money(text, locale=self.locale, allow_negative=self.allow_negative)
        except Refusal as refusal:
            raise as_form_error(refusal) from refusal

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, int):
            currency = settings.STUDIO_CURRENCY
            return money.format_money_input(value, currency=currency, locale=self.locale)
        return value

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return {
            **super().widget_attrs(widget),
            "inputmode": "decimal",
            "maxlength": str(money.MAX_TEXT),
        }


def parse_share(text: str) -> Decimal:
    """A share from percent as people write it: "5", "5 %" and "5.25%" are 0.05 and 0.0525.

    Raises InvalidInput for what is no plain number, or has more than 6 decimals.
    """
    match = _PERCENT.fullmatch(text.strip())
    if match is None:
        raise InvalidInput('Write a share in percent, with a point: "5" or "5.25 %".')
    return Decimal(match[1]).scaleb(-2)


class ShareFormField(forms.Field):
    """A share, written in percent ("5 %"); cleans to a Decimal (0.05), empty optional to None."""

    widget = forms.TextInput

    def __init__(
        self, *, least: Decimal = Decimal(0), most: Decimal = Decimal(1), **kwargs: Any
    ) -> None:
        self.least, self.most = least, most
        super().__init__(**kwargs)

    def to_python(self, value: Any) -> Decimal | None:
        if value is None or isinstance(value, Decimal):
            return value
        if not str(value).strip():
            return None
        try:
            return parse_share(str(value))
        except Refusal as refusal:
            raise as_form_error(refusal) from refusal

    def validate(self, value: Any) -> None:
        super().validate(value)
        if value is not None and not self.least <= value <= self.most:
            low, high = (f"{(bound * 100).normalize():f}" for bound in (self.least, self.most))
            raise ValidationError(f"Give a share from {low} to {high} %.", code="out-of-range")

    def prepare_value(self, value: Any) -> Any:
        return f"{(value * 100).normalize():f} %" if isinstance(value, Decimal) else value

    def widget_attrs(self, widget: forms.Widget) -> dict[str, Any]:
        return {**super().widget_attrs(widget), "inputmode": "decimal", "maxlength": "16"}
