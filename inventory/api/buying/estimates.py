"""Fields for what is estimated: floats of the published formulas, written as text.

An estimate is no amount of the books; six significant digits say more than it knows.
"""

from decimal import Decimal
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import fields, serializers

from studio.foundation.units.registry import NG_PER_G

_DIGITS = 6


def estimate_text(value: float) -> str:
    """A float as plain decimal text of six significant digits."""
    return format(Decimal(f"{value:.{_DIGITS}g}").normalize() + 0, "f")


@extend_schema_field({"type": "string", "example": "1.64485"})
class EstimateField(serializers.Field[Any, Any, Any, Any]):
    """A number that is estimated."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(read_only=True, **kwargs)

    def to_representation(self, value: float) -> str:
        return estimate_text(value)


@extend_schema_field(
    {
        "type": "object",
        "properties": {
            "amount": {"type": "string", "example": "142.857"},
            "unit": {"type": "string", "enum": ["g", "each"]},
        },
        "required": ["amount", "unit"],
        "additionalProperties": False,
    }
)
class EstimatedAmountField(serializers.Field[Any, Any, Any, Any]):
    """An amount of stock that is estimated, parts of a piece included.

    `counted` is the dotted path of what says whether it is pieces.
    """

    def __init__(self, *, counted: str, **kwargs: Any) -> None:
        self.counted = counted
        super().__init__(read_only=True, **kwargs)

    def get_attribute(self, instance: Any) -> tuple[float, bool] | None:
        amount = super().get_attribute(instance)
        if amount is None:
            return None
        return amount, bool(fields.get_attribute(instance, self.counted.split(".")))

    def to_representation(self, value: tuple[float, bool]) -> dict[str, str]:
        amount, counted = value
        if counted:
            return {"amount": estimate_text(amount), "unit": "each"}
        return {"amount": estimate_text(amount / NG_PER_G), "unit": "g"}
