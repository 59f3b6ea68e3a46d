"""Quantities in JSON: {"amount": "1.25", "unit": "kg"}, also read from text ("1 lb 4 oz")."""

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Any, Final

from drf_spectacular.drainage import set_override
from drf_spectacular.utils import extend_schema_field
from rest_framework import fields, serializers

from studio.foundation.errors import Refusal
from studio.foundation.units import conversion, grammar
from studio.foundation.units.quantity import Quantity
from studio.foundation.units.registry import UNITS, Dimension
from studio.web.serializer_fields.reading import as_api_error, members
from studio.web.serializer_fields.writing import base_json, quantity_json, stock_json

_AMOUNT_PATTERN: Final = r"^-?([0-9]{1,19}(\.[0-9]{1,12})?|([0-9]{1,19} )?[0-9]{1,19}/[0-9]{1,19})$"


def _quantity_schema(symbols: Sequence[str]) -> dict[str, Any]:
    pair = {
        "type": "object",
        "properties": {
            "amount": {"type": "string", "pattern": _AMOUNT_PATTERN, "example": "1.25"},
            "unit": {"type": "string", "enum": list(symbols)},
        },
        "required": ["amount", "unit"],
        "additionalProperties": False,
    }
    text = {
        "type": "string",
        "maxLength": grammar.MAX_TEXT,
        "example": f"1.25 {symbols[0]}",
        "description": "Read only from requests; answers give the object.",
    }
    return {"oneOf": [pair, text]}


class QuantityField(serializers.Field[Any, Any, Any, Any]):
    """A quantity of one of `dimensions`, read from text or {"amount", "unit"} to a `Quantity`.

    Writes a `Quantity` as it is, and an integer of base units in `unit`.
    """

    def __init__(
        self, *, dimensions: Sequence[Dimension], unit: str | None = None, **kwargs: Any
    ) -> None:
        self.dimensions = tuple(dimensions)
        self.unit = unit
        super().__init__(**kwargs)
        symbols = [u.symbol for u in UNITS.values() if u.dimension in self.dimensions]
        set_override(self, "field", _quantity_schema(symbols))

    def to_internal_value(self, data: Any) -> Any:
        try:
            if isinstance(data, Mapping):
                amount, unit = members(data, "amount", "unit")
                return grammar.quantity_from(amount, unit, *self.dimensions)
            return grammar.parse_quantity(data, *self.dimensions)
        except Refusal as refusal:
            raise as_api_error(refusal) from refusal

    def to_representation(self, value: Quantity | int | Fraction) -> dict[str, str]:
        if isinstance(value, Quantity):
            return quantity_json(value)
        if self.unit is None:
            raise TypeError("an integer needs the field's unit to be written in")
        return base_json(round(value), self.unit)


class BaseQuantityField(QuantityField):
    """A quantity kept as an integer of base units: ng, nL, pieces or nm, as `unit` measures.

    Reads any unit of the same dimension; writes in `unit`.
    """

    def __init__(self, *, unit: str, **kwargs: Any) -> None:
        dimension = UNITS[unit].dimension
        self.stored = conversion.STORED[dimension]
        super().__init__(dimensions=(dimension,), unit=unit, **kwargs)

    def to_internal_value(self, data: Any) -> int:
        quantity = super().to_internal_value(data)
        try:
            return self.stored(quantity)
        except Refusal as refusal:
            raise as_api_error(refusal) from refusal


@extend_schema_field(
    {
        "type": "object",
        "properties": {
            "amount": {"type": "string", "example": "1250"},
            "unit": {"type": "string", "enum": ["g", "each"]},
        },
        "required": ["amount", "unit"],
        "additionalProperties": False,
    }
)
class StockAmountField(serializers.Field[Any, Any, Any, Any]):
    """Writes a stock amount in g or each; `counted` is the dotted path of what says which.

    Reading is left to `QuantityField`: what is weighed may need a density, which a service knows.
    """

    def __init__(self, *, counted: str, **kwargs: Any) -> None:
        self.counted = counted
        super().__init__(read_only=True, **kwargs)

    def get_attribute(self, instance: Any) -> tuple[int, bool] | None:
        amount = super().get_attribute(instance)
        if amount is None:
            return None
        return amount, bool(fields.get_attribute(instance, self.counted.split(".")))

    def to_representation(self, value: tuple[int, bool]) -> dict[str, str]:
        amount, counted = value
        return stock_json(amount, counted=counted)
