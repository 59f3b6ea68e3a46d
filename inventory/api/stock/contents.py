"""What a lot consists of, as an answer."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from inventory.domain.stock.contents import Contents
from inventory.domain.stock.leaves import Leaf
from inventory.models.stock.lots import Lot
from studio.web.api.serializers import StrictSerializer
from studio.web.serializer_fields.numbers import DecimalTextField
from studio.web.serializer_fields.quantities import BaseQuantityField

MICRO, MILLI = Decimal("0.000001"), Decimal("0.001")


class MadeOfSerializer(StrictSerializer):
    """A bought lot that is inside, and its share by mass; what became soap counts as it went in."""

    lot = serializers.CharField(read_only=True)
    material = serializers.CharField(read_only=True)
    name = serializers.CharField(read_only=True)
    share = DecimalTextField(places=6, read_only=True)


class ScentSerializer(StrictSerializer):
    """Something with a certified maximum in the finished product (IFRA category 9), and its share
    of this lot; the maximum is null where nobody stated it."""

    material = serializers.CharField(read_only=True)
    share = DecimalTextField(places=6, read_only=True)
    maximum = DecimalTextField(places=6, read_only=True, allow_null=True)


class ContentsSerializer(StrictSerializer):
    """What one lot consists of, as shares of its mass.

    `naoh` and `koh` are pure alkali; `saponification_value` is that of the whole, in mg KOH per g,
    null where nobody stated that of a fat in it.
    """

    lot = serializers.CharField(read_only=True)
    naoh = DecimalTextField(places=6, read_only=True)
    koh = DecimalTextField(places=6, read_only=True)
    water = DecimalTextField(places=6, read_only=True)
    saponification_value = DecimalTextField(places=3, read_only=True, allow_null=True)
    fragrances = ScentSerializer(many=True)
    made_of = MadeOfSerializer(many=True)
    infused_with = serializers.ListField(child=serializers.CharField(), read_only=True)
    steam = BaseQuantityField(
        unit="g", read_only=True, help_text="Water that left it while it was made."
    )


def shown_contents(lot: Lot, contents: Contents) -> dict[str, Any]:
    """The contents of a lot as `ContentsSerializer` reads them, each share to six places."""
    value = contents.demand
    inside = {**contents.leaves, **contents.reacted}
    return {
        "lot": lot.code,
        "naoh": contents.naoh.usual.quantize(MICRO),
        "koh": contents.koh.usual.quantize(MICRO),
        "water": contents.water.quantize(MICRO),
        "saponification_value": None if value is None else value.usual.quantize(MILLI),
        "fragrances": [
            {
                "material": scent.code,
                "share": share.quantize(MICRO),
                "maximum": scent.maximum,
            }
            for scent, share in contents.scents.items()
        ],
        "made_of": [
            _made_of(leaf, share) for leaf, share in sorted(inside.items(), key=lambda one: -one[1])
        ],
        "infused_with": sorted({leaf.name for leaf in contents.strained}),
        "steam": lot.steam,
    }


def _made_of(leaf: Leaf, share: Decimal) -> dict[str, Any]:
    return {
        "lot": leaf.lot,
        "material": leaf.code,
        "name": leaf.name,
        "share": share.quantize(MICRO),
    }
