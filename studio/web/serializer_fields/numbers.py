"""Money, shares and plain decimals in JSON, exact: text or whole numbers, never floats."""

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any, Final

from django.conf import settings
from drf_spectacular.drainage import set_override
from rest_framework import serializers

from studio.foundation import money
from studio.foundation.errors import Refusal
from studio.web.serializer_fields.reading import (
    NumberRefusal,
    as_api_error,
    exact_decimal,
    exact_text,
    has_places,
    members,
)
from studio.web.serializer_fields.writing import decimal_json, money_json

_PERCENT_PLACES: Final = 2
_SHARE_PLACES: Final = 6


def _money_schema() -> dict[str, Any]:
    text = {"type": "string", "pattern": r"^-?[0-9]{1,15}(\.[0-9]{1,4})?$", "example": "12.50"}
    pair = {
        "type": "object",
        "properties": {
            "amount": text,
            "currency": {"type": "string", "enum": [settings.STUDIO_CURRENCY]},
        },
        "required": ["amount", "currency"],
        "additionalProperties": False,
    }
    read = {**text, "description": "Read only from requests; answers give the object."}
    return {"oneOf": [pair, read]}


class MoneyField(serializers.Field[Any, Any, Any, Any]):
    """Money in ten-thousandths; in JSON {"amount", "currency"}, also read from decimal text."""

    def __init__(self, *, allow_negative: bool = False, **kwargs: Any) -> None:
        self.allow_negative = allow_negative
        super().__init__(**kwargs)
        set_override(self, "field", _money_schema())

    def to_internal_value(self, data: Any) -> int:
        try:
            if isinstance(data, Mapping):
                data, currency = members(data, "amount", "currency")
                if currency != settings.STUDIO_CURRENCY:
                    raise money.MoneyRefusal.because(
                        "other-currency",
                        f"The books are kept in {settings.STUDIO_CURRENCY}: "
                        "give the amount in that currency.",
                    )
            return money.parse_money(exact_text(data), allow_negative=self.allow_negative)
        except Refusal as refusal:
            raise as_api_error(refusal) from refusal

    def to_representation(self, value: int | Fraction) -> dict[str, str]:
        return money_json(round(value))


class DecimalTextField(serializers.Field[Any, Any, Any, Any]):
    """An exact decimal of at most `places` places, written as text; read from text or an integer.

    `min_value` and `max_value` are inclusive.
    """

    def __init__(
        self,
        *,
        places: int,
        min_value: Decimal | None = None,
        max_value: Decimal | None = None,
        **kwargs: Any,
    ) -> None:
        self.places = places
        self.min_value = min_value
        self.max_value = max_value
        super().__init__(**kwargs)
        set_override(self, "field", self._schema())

    def to_internal_value(self, data: Any) -> Decimal:
        try:
            return self._checked(exact_decimal(data), self.places)
        except Refusal as refusal:
            raise as_api_error(refusal) from refusal

    def to_representation(self, value: Decimal) -> str:
        return decimal_json(value)

    def _checked(self, value: Decimal, places: int) -> Decimal:
        if not has_places(value, places):
            raise NumberRefusal.because("too-precise", f"At most {places} decimals are kept here.")
        if self.min_value is not None and value < self.min_value:
            raise NumberRefusal.because(
                "too-small", f"This must be at least {decimal_json(self.min_value)}."
            )
        if self.max_value is not None and value > self.max_value:
            raise NumberRefusal.because(
                "too-large", f"This must be at most {decimal_json(self.max_value)}."
            )
        return value

    def _schema(self) -> dict[str, Any]:
        sign = "" if self.min_value is not None and self.min_value >= 0 else "-?"
        pattern = rf"^{sign}[0-9]{{1,18}}(\.[0-9]{{1,{self.places}}})?$"
        return {"type": "string", "pattern": pattern, "example": "1.5"}


class ShareField(DecimalTextField):
    """A share as a Decimal fraction of 1, written "0.05"; read from that or from "5 %".

    Between 0 and 1 unless told otherwise; at most 6 places.
    """

    def __init__(
        self,
        *,
        min_value: Decimal | None = Decimal(0),
        max_value: Decimal | None = Decimal(1),
        **kwargs: Any,
    ) -> None:
        super().__init__(places=_SHARE_PLACES, min_value=min_value, max_value=max_value, **kwargs)

    def to_internal_value(self, data: Any) -> Decimal:
        if not (isinstance(data, str) and data.rstrip().endswith("%")):
            return super().to_internal_value(data)
        try:
            percent = exact_decimal(data.rstrip()[:-1])
            if not has_places(percent, _SHARE_PLACES - _PERCENT_PLACES):
                raise NumberRefusal.because(
                    "too-precise", "At most 4 decimals of a percent are kept."
                )
            return self._checked(percent.scaleb(-_PERCENT_PLACES), _SHARE_PLACES)
        except Refusal as refusal:
            raise as_api_error(refusal) from refusal

    def _schema(self) -> dict[str, Any]:
        pattern = r"^-?[0-9]{1,18}(\.[0-9]{1,6})?( ?%)?$"
        return {
            "type": "string",
            "pattern": pattern,
            "example": "0.05",
            "description": 'A fraction of 1; "5 %" is read too.',
        }


class ShownDecimalField(DecimalTextField):
    """A decimal in an answer, rounded half to even to its places."""

    def to_representation(self, value: Decimal | Fraction | float) -> str:
        whole = round(Fraction(value) * 10**self.places)
        return super().to_representation(Decimal(whole).scaleb(-self.places))


class ShownShareField(ShareField, ShownDecimalField):
    """A share in an answer, to six places; it may be below zero, as a superfat or a margin."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=None, max_value=None, **kwargs)
