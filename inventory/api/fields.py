"""Fields of the inventory: codes of rows, packs as written, amounts of stock in any unit."""

from collections.abc import Mapping
from typing import Any

from rest_framework import fields, serializers
from rest_framework.exceptions import ValidationError

from inventory.domain.catalog.allergens import LONGEST_NAME, MOST_ALLERGENS, SHARE_PLACES, Allergen
from inventory.domain.catalog.certificate import VALUES
from studio.foundation.units.grammar import MAX_TEXT
from studio.foundation.units.registry import Dimension
from studio.web.api.serializers import StrictSerializer
from studio.web.serializer_fields.numbers import DecimalTextField, ShareField
from studio.web.serializer_fields.quantities import QuantityField
from studio.web.serializer_fields.reading import members
from studio.web.serializer_fields.writing import stock_json

STOCKED = (Dimension.MASS, Dimension.VOLUME, Dimension.COUNT)
MOST_ACIDS = 40


def optional_decimal(places: int) -> DecimalTextField:
    """A decimal that may be unknown; in which range it can be true is the services' rule."""
    return DecimalTextField(places=places, required=False, allow_null=True)


def optional_allergens() -> "AllergenSerializer":
    """The allergens that a certificate states; null where it states nothing."""
    return AllergenSerializer(  # type: ignore[call-arg]
        many=True, required=False, allow_null=True, max_length=MOST_ALLERGENS
    )


def optional_share() -> ShareField:
    """A share that may be unknown; in which range it can be true is the services' rule."""
    return ShareField(min_value=None, max_value=None, required=False, allow_null=True)


class MeasuredFields(serializers.BaseSerializer[Any]):
    """A serializer that has a field for each measured value of a certificate."""

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        """The serializer's own, and these in their places or in front."""
        measured: dict[str, serializers.Field[Any, Any, Any, Any]] = {
            name: optional_share() if value.is_share else optional_decimal(value.places)
            for name, value in VALUES.items()
        }
        own = super().get_fields()  # type: ignore[misc]
        added = {name: one for name, one in measured.items() if name not in own}
        return {**added, **own, **measured}


class WrittenQuantityField(QuantityField):
    """An amount of stock in any unit: read to a `Quantity`, written in g or each.

    `counted` is the dotted path of what says which; none for bodies that are never written.
    """

    def __init__(self, *, counted: str = "", **kwargs: Any) -> None:
        self.counted = counted
        super().__init__(dimensions=STOCKED, **kwargs)

    def get_attribute(self, instance: Any) -> Any:
        amount = super().get_attribute(instance)
        if amount is None:
            return None
        return amount, bool(fields.get_attribute(instance, self.counted.split(".")))

    def to_representation(self, value: Any) -> dict[str, str]:
        amount, counted = value
        return stock_json(amount, counted=counted)


class PackField(QuantityField):
    """A pack as the supplier writes it, kept as his text; {"amount", "unit"} is read too.

    That it can be read is checked here, so that its faults are told with those of other fields;
    what it weighs is computed by a service, which knows the material.
    """

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(dimensions=STOCKED, **kwargs)

    def to_internal_value(self, data: Any) -> str:
        if isinstance(data, Mapping):
            super().to_internal_value(data)
            amount, unit = members(data, "amount", "unit")
            data = f"{amount} {unit}"
        if not isinstance(data, str):
            raise ValidationError('Write the pack as text, such as "1 gal".', "not-text")
        text = data.strip()
        if not 1 <= len(text) <= MAX_TEXT:
            raise ValidationError(f"Write 1 to {MAX_TEXT} characters.", "length")
        super().to_internal_value(text)
        return text

    def to_representation(self, value: Any) -> Any:
        return value


class FattyAcidsField(serializers.DictField):
    """Shares of the fatty acids: {"C12:0": "0.48"}."""

    child = ShareField(min_value=None, max_value=None)

    def to_internal_value(self, data: Any) -> Any:
        if isinstance(data, Mapping) and len(data) > MOST_ACIDS:
            raise ValidationError(f"At most {MOST_ACIDS} fatty acids.", "too-many")
        return super().to_internal_value(data)

    def to_representation(self, value: Any) -> dict[str, Any]:
        return {row.acid: self.child.to_representation(row.share) for row in value.all()}


class AllergenSerializer(StrictSerializer):
    """One fragrance allergen as certified: its share of the material's mass."""

    name = serializers.CharField(max_length=LONGEST_NAME)
    share = DecimalTextField(places=SHARE_PLACES)

    def to_internal_value(self, data: Any) -> Any:
        given = super().to_internal_value(data)
        return Allergen(given["name"], given["share"])

    def to_representation(self, instance: Any) -> Any:
        return {"name": instance["name"], "share": instance["share"]}
