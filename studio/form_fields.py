"""Form fields for quantities and money: text on the page, exact values behind it."""

from collections.abc import Callable, Sequence
from typing import Any

from django import forms
from django.conf import settings
from django.core.exceptions import ValidationError

from studio import money
from studio.errors import Refusal
from studio.units import MAX_TEXT, Dimension, Quantity, format_amount, parse_quantity


def as_form_error(refusal: Refusal) -> ValidationError:
    """All faults of a refusal as one Django ValidationError, with their codes."""
    return ValidationError([ValidationError(f.message, code=f.code) for f in refusal.faults])


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
