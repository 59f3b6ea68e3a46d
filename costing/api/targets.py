"""What a recipe is costed at, in the same words as it is scaled by."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from rest_framework import serializers

from costing.queries.bar_cost.price_basis import CHOICES
from recipes.domain.weighing import MOST_BARS
from recipes.errors import ScalingRefusal
from recipes.services.scaling.planning import Wish
from recipes.services.scaling.wishes import Asked, wish_from
from studio.foundation.errors import NotFound
from studio.web.api.serializers import StrictSerializer
from studio.web.serializer_fields.quantities import BaseQuantityField

#: Name in a request -> name in what is asked, where they differ.
NAMES = {
    "fill_height": "fill_height_nm",
    "fats": "fats_ng",
    "batter": "batter_ng",
    "volume": "volume_nl",
    "poured_weight": "poured_weight_ng",
}


class CostTargetSerializer(StrictSerializer):
    """One of: a mold, fats, batter, volume, or bars with their poured weight.

    `bars` beside the others says how many bars it gives; without bars there is no cost per bar.
    """

    mold = serializers.SlugField(max_length=40, required=False)
    fill_height = BaseQuantityField(unit="mm", required=False)
    fats = BaseQuantityField(unit="g", required=False)
    batter = BaseQuantityField(unit="g", required=False)
    volume = BaseQuantityField(unit="mL", required=False)
    bars = serializers.IntegerField(min_value=1, max_value=MOST_BARS, required=False)
    poured_weight = BaseQuantityField(unit="g", required=False)


class CostRequestSerializer(StrictSerializer):
    """The newest version unless told, on all price bases unless told, as of the day `on`."""

    version = serializers.IntegerField(min_value=1, max_value=10**6, required=False)
    target = CostTargetSerializer()
    basis = serializers.ChoiceField(choices=CHOICES, required=False)
    on = serializers.DateField(required=False, input_formats=["%Y-%m-%d"])


def wish_of(given: Mapping[str, Any]) -> Wish:
    """The wish of a target that was read. Raises ScalingRefusal and NotFound below "target"."""
    asked = Asked(**{NAMES.get(name, name): value for name, value in given.items()})
    try:
        return wish_from(asked)
    except (ScalingRefusal, NotFound) as refusal:
        bare = [replace(f, field=f.field.removeprefix("target")) for f in refusal.faults]
        raise type(refusal)(faults=bare).under("target") from refusal
