"""Parts that several answers of the recipes share."""

from collections.abc import Iterable, Mapping
from decimal import ROUND_HALF_EVEN, Decimal
from typing import TYPE_CHECKING, Any

from rest_framework import serializers

from recipes.domain.chemistry.fatty_acids import FatsProfile
from recipes.domain.chemistry.safety import SafetyCheck
from studio.web.api.serializers import StrictSerializer
from studio.web.serializer_fields.numbers import DecimalTextField, ShareField
from studio.web.serializer_fields.quantities import BaseQuantityField, StockAmountField

if TYPE_CHECKING:
    from recipes.services.bench.shelf import ShelfLine

MICRO = Decimal("0.000001")
MILLI = Decimal("0.001")


class ShownShare(ShareField):
    """A share in an answer, to six places; a superfat may be below zero."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=None, max_value=None, read_only=True, **kwargs)

    def to_representation(self, value: Decimal) -> str:
        return super().to_representation(value.quantize(MICRO, ROUND_HALF_EVEN))


def grams(**kwargs: Any) -> BaseQuantityField:
    """A mass in an answer."""
    return BaseQuantityField(unit="g", read_only=True, **kwargs)


class CautionSerializer(StrictSerializer):
    """One of the trade's cautions; `code` is stable."""

    code = serializers.CharField(read_only=True)
    text = serializers.CharField(read_only=True)


class NoticeSerializer(StrictSerializer):
    """Something to hear of that is not refused."""

    code = serializers.CharField(read_only=True)
    field = serializers.CharField(read_only=True)
    message = serializers.CharField(read_only=True)


class LotAmountSerializer(StrictSerializer):
    """So much out of one lot."""

    lot = serializers.CharField(read_only=True)
    amount = StockAmountField(counted="counted")


class FragranceSerializer(StrictSerializer):
    """A fragrance's share of the finished soap, and its certified maximum (IFRA category 9)."""

    material = serializers.CharField(read_only=True)
    share = ShownShare()
    maximum = ShownShare(allow_null=True)


class SafetySerializer(StrictSerializer):
    """What results from the weights: superfat, fragrance shares, and notices."""

    superfat = ShownShare()
    fragrances = FragranceSerializer(many=True)
    notices = NoticeSerializer(many=True)


class ProfileSerializer(StrictSerializer):
    """The blend of fats: iodine value (ISO 3961) and shares of all its fatty acids.

    `known_share` is the share of the fats whose fatty acids are known.
    """

    iodine_value = DecimalTextField(places=3, read_only=True, allow_null=True)
    fatty_acids = serializers.DictField(child=ShownShare(), read_only=True)
    saturated_share = ShownShare()
    known_share = ShownShare()


class LyeSerializer(StrictSerializer):
    """The lye as weighed. `water` is all of its water; `extra_water` the plain water to weigh.

    `superfat_worst` is the superfat with each fat at the low end of its saponification range.
    """

    naoh = grams(source="naoh_ng")
    koh = grams(source="koh_ng")
    masterbatch = grams(source="masterbatch_ng")
    extra_water = grams(source="extra_water_ng")
    water = grams(source="water_ng")
    concentration = ShownShare(source="lye_concentration")
    superfat = ShownShare()
    superfat_worst = ShownShare(source="worst_superfat")
    extra_superfat = ShownShare()


class ShelfLineSerializer(StrictSerializer):
    """What the shelf has of one material for a plan, and the lots that would be taken."""

    material = serializers.CharField(source="material.code", read_only=True)
    name = serializers.CharField(source="material.name", read_only=True)
    needed = StockAmountField(counted="material.counted")
    available = StockAmountField(counted="material.counted")
    short = StockAmountField(counted="material.counted")
    covered_on = serializers.DateField(read_only=True, allow_null=True)
    picks = LotAmountSerializer(many=True)


def shown_shelf(line: "ShelfLine") -> dict[str, Any]:
    """A line of the shelf check as `ShelfLineSerializer` reads it."""
    return {
        "material": line.material,
        "needed": line.needed,
        "available": line.available,
        "short": line.short,
        "covered_on": line.covered_on,
        "picks": [
            {"lot": pick.lot.code, "amount": pick.amount, "counted": line.material.counted}
            for pick in line.picks
        ],
    }


def shown_safety(check: SafetyCheck, codes: Mapping[int, str]) -> dict[str, Any]:
    """A safety check; `codes` names the materials by the position of their lines."""
    return {
        "superfat": check.superfat,
        "fragrances": [
            {"material": codes[f.position], "share": f.share, "maximum": f.maximum}
            for f in check.fragrances
        ],
        "notices": unique(check.notices),
    }


def shown_profile(profile: FatsProfile) -> dict[str, Any]:
    """A profile with its iodine value to a thousandth."""
    value = profile.iodine_value
    return {
        "iodine_value": None if value is None else value.quantize(MILLI),
        "fatty_acids": profile.fatty_acids,
        "saturated_share": profile.saturated_share,
        "known_share": profile.known_share,
    }


def unique(notices: Iterable[Any]) -> list[Any]:
    """Notices without those that say the same twice."""
    return list({(n.code, n.field, n.message): n for n in notices}.values())
