"""A stored target as an answer."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from rest_framework import serializers

from recipes.api.answers import ShownShare, grams
from studio.web.api.serializers import StrictSerializer
from studio.web.serializer_fields.quantities import BaseQuantityField

#: Name in a stored target -> name in an answer.
NAMES = {
    "kind": "kind",
    "volume_nl": "volume",
    "overfill_share": "overfill_share",
    "bars": "bars",
    "poured_weight_ng": "poured_weight",
    "batter_ng": "batter",
    "fats_ng": "fats",
}


class TargetAnswerSerializer(StrictSerializer):
    """What was asked for; only the members of its kind are there. A mold is a volume."""

    kind = serializers.CharField(read_only=True)
    fats = grams()
    batter = grams()
    volume = BaseQuantityField(unit="mL", read_only=True)
    overfill_share = ShownShare()
    bars = serializers.IntegerField(read_only=True)
    poured_weight = grams()

    def to_representation(self, instance: Mapping[str, Any]) -> dict[str, Any]:
        return {
            name: self.fields[name].to_representation(value) for name, value in instance.items()
        }


def shown_target(stored: Mapping[str, Any]) -> dict[str, Any]:
    """A stored target under the names of the answer."""
    return {
        NAMES[name]: Decimal(value) if name == "overfill_share" else value
        for name, value in stored.items()
    }
