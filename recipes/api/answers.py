"""Parts that several answers of the recipes share."""

from collections.abc import Iterable
from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from recipes.domain.bench.cautions import Caution
from recipes.domain.chemistry.fatty_acids import FatsProfile
from recipes.domain.chemistry.safety import SafetyCheck
from recipes.domain.formulas.formula import Notice
from recipes.domain.formulas.scaled import ScaledBatch
from recipes.domain.scales import OnScale
from recipes.services.bench.shelf import ShelfLine
from studio.web.api.answers import AnswerSerializer
from studio.web.api.serializers import StrictSerializer
from studio.web.serializer_fields.numbers import ShownDecimalField, ShownShareField
from studio.web.serializer_fields.quantities import BaseQuantityField, StockAmountField


def grams(**kwargs: Any) -> BaseQuantityField:
    """A mass in an answer."""
    return BaseQuantityField(unit="g", **kwargs)


class CautionSerializer(AnswerSerializer):
    """One of the trade's cautions; `code` is stable."""

    shows = Caution


class NoticeSerializer(AnswerSerializer):
    """Something to hear of that is not refused."""

    shows = Notice
    says = ("code", "field", "message")


class LotAmountSerializer(StrictSerializer):
    """So much out of one lot."""

    lot = serializers.CharField()
    amount = StockAmountField(counted="counted")


class FragranceSerializer(StrictSerializer):
    """A fragrance's share of the finished soap, and its certified maximum (IFRA category 9)."""

    material = serializers.CharField()
    share = ShownShareField()
    maximum = ShownShareField(allow_null=True)


class SafetySerializer(StrictSerializer):
    """What results from the weights: superfat, fragrance shares, and notices.

    `superfat_worst` is with fats at the low end of their ranges and alkali as pure as it may be.
    """

    superfat = ShownShareField()
    superfat_worst = ShownShareField()
    fragrances = FragranceSerializer(many=True)
    notices = NoticeSerializer(many=True)


class ProfileSerializer(AnswerSerializer):
    """The blend of fats: iodine value (ISO 3961) and shares of all its fatty acids.

    `known_share` is the share of the fats whose fatty acids are known.
    """

    shows = FatsProfile
    iodine_value = ShownDecimalField(places=3, allow_null=True)


class WeighedSerializer(AnswerSerializer):
    """How a line is weighed: on the finest scale that holds it, in steps of that, and what no scale
    holds in several goes. Without a kept scale its name is "" and the recipe says the step.
    """

    shows = OnScale
    says = ("name as scale", "step_ng", "goes")


class LyeSerializer(AnswerSerializer):
    """The lye as weighed. `water` is all of its water; `extra_water` the plain water to weigh.

    `superfat_worst` is the superfat with each fat at the low end of its saponification range, and
    alkali as pure as it may be.
    """

    shows = ScaledBatch
    says = (
        *("naoh_ng", "koh_ng", "masterbatch_ng", "extra_water_ng", "water_ng"),
        *("lye_concentration as concentration", "superfat", "worst_superfat as superfat_worst"),
        "extra_superfat",
    )


class ShelfLineSerializer(AnswerSerializer):
    """What the shelf has of one material for a plan, and the lots that would be taken."""

    shows: ClassVar[Any] = ShelfLine
    says: ClassVar[tuple[str, ...]] = (
        *("material.code as material", "material.name", "needed", "available", "short"),
        *("covered_on", "picks"),
    )
    counted = "material.counted"
    picks = serializers.SerializerMethodField()

    @extend_schema_field(LotAmountSerializer(many=True))
    def get_picks(self, line: ShelfLine) -> Any:
        counted = line.material.counted
        rows = [{"lot": p.lot.code, "amount": p.amount, "counted": counted} for p in line.picks]
        return LotAmountSerializer(rows, many=True).data


def shown_safety(check: SafetyCheck) -> dict[str, Any]:
    """A safety check as `SafetySerializer` reads it."""
    return {
        "superfat": check.superfat,
        "superfat_worst": check.worst,
        "fragrances": [
            {"material": f.code, "share": f.share, "maximum": f.maximum} for f in check.fragrances
        ],
        "notices": unique(check.notices),
    }


def unique(notices: Iterable[Any]) -> list[Any]:
    """Notices without those that say the same twice."""
    return list({(n.code, n.field, n.message): n for n in notices}.values())
