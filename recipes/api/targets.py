"""What a recipe is scaled to, as it is written in a request and told in an answer."""

from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Any

from rest_framework import serializers

from recipes.api.answers import grams
from recipes.api.fields import BarsCount, DayField
from recipes.errors import ScalingRefusal
from recipes.queries.scaling.plans import Wish
from recipes.services.scaling.planning import Asked, wish_from
from studio.foundation.errors import NotFound
from studio.web.api.serializers import StrictSerializer
from studio.web.serializer_fields.numbers import ShownShareField
from studio.web.serializer_fields.quantities import BaseQuantityField

#: Name in a request -> name in what is asked.
NAMES = {
    "mold": "mold",
    "fill_height": "fill_height_nm",
    "fats": "fats_ng",
    "batter": "batter_ng",
    "volume": "volume_nl",
    "bars": "bars",
    "poured_weight": "poured_weight_ng",
}
#: Name in a stored target -> name in an answer.
_ANSWERED_AS = {
    "kind": "kind",
    "volume_nl": "volume",
    "overfill_share": "overfill_share",
    "bars": "bars",
    "poured_weight_ng": "poured_weight",
    "batter_ng": "batter",
    "fats_ng": "fats",
}


class SizeSerializer(StrictSerializer):
    """One of: fats, batter, volume, or bars with their poured weight.

    With the others `bars` says how many bars it gives, for what is counted by the bar.
    """

    fats = BaseQuantityField(unit="g", required=False)
    batter = BaseQuantityField(unit="g", required=False)
    volume = BaseQuantityField(unit="mL", required=False)
    bars = BarsCount(required=False)
    poured_weight = BaseQuantityField(unit="g", required=False)


class TargetSerializer(SizeSerializer):
    """One of: a mold, fats, batter, volume, or bars with their poured weight.

    `fill_height` goes before the mold's own; `bars` beside the others says how many bars it gives.
    """

    mold = serializers.SlugField(max_length=40, required=False)
    fill_height = BaseQuantityField(unit="mm", required=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        sizes = [name for name in ("fats", "batter", "volume", "poured_weight") if name in attrs]
        if "mold" in attrs and sizes:
            raise ScalingRefusal(
                f"Give the mold or {sizes[0]}, not both: each is a target.", field=sizes[0]
            )
        return attrs


class ScaleRequestSerializer(StrictSerializer):
    """What to scale: the current version unless told; the shelf is looked at for the day `on`."""

    version = serializers.IntegerField(min_value=1, max_value=10**6, required=False)
    target = TargetSerializer()
    on = DayField(required=False)


def wish_of(given: Mapping[str, Any]) -> Wish:
    """The wish of a target that was read. Raises ScalingRefusal and NotFound below "target"."""
    asked = Asked(**{NAMES[name]: value for name, value in given.items()})
    try:
        return wish_from(asked)
    except (ScalingRefusal, NotFound) as refusal:
        bare = [replace(f, field=f.field.removeprefix("target")) for f in refusal.faults]
        raise type(refusal)(faults=bare).under("target") from refusal


class TargetAnswerSerializer(StrictSerializer):
    """What was asked for; only the members of its kind are there. A mold is a volume."""

    kind = serializers.CharField(read_only=True)
    fats = grams()
    batter = grams()
    volume = BaseQuantityField(unit="mL", read_only=True)
    overfill_share = ShownShareField()
    bars = serializers.IntegerField(read_only=True)
    poured_weight = grams()

    def to_representation(self, instance: Mapping[str, Any]) -> dict[str, Any]:
        return {
            name: self.fields[name].to_representation(value) for name, value in instance.items()
        }


def shown_target(stored: Mapping[str, Any]) -> dict[str, Any]:
    """A stored target under the names of the answer."""
    return {
        _ANSWERED_AS[name]: Decimal(value) if name == "overfill_share" else value
        for name, value in stored.items()
    }
