"""Cut plans, cures and net weights as answers."""

from decimal import Decimal
from typing import Any

from rest_framework import serializers

from recipes.api.answers import ShownShare, grams
from recipes.domain.labels.net_weight import Sample
from recipes.models.cure.finishing import CureChoice, CutRecord
from recipes.queries.labels.net_weight import NetWeight
from studio.web.api.serializers import StrictModelSerializer, StrictSerializer
from studio.web.serializer_fields.numbers import DecimalTextField, MoneyField
from studio.web.serializer_fields.quantities import BaseQuantityField


def millimeters(**kwargs: Any) -> BaseQuantityField:
    """A length in mm, as answers write it."""
    return BaseQuantityField(unit="mm", read_only=True, **kwargs)


class BarSizeSerializer(StrictSerializer):
    """A bar as cut: along the log, across it, and up."""

    length = millimeters(source="length_nm")
    width = millimeters(source="width_nm")
    height = millimeters(source="height_nm")


class CutRecordSerializer(StrictModelSerializer[CutRecord]):
    """The cut as it was made. What the poured soap cost went to bars, kept ends and loss."""

    cost_fields = ("cost", "bars_cost", "ends_cost", "loss")

    poured = grams()
    good_weight = grams(allow_null=True)
    rejected_weight = grams(allow_null=True)
    ends_weight = grams(allow_null=True)
    ends_lot = serializers.CharField(source="ends_lot.code", read_only=True, default=None)
    ends_share = ShownShare(allow_null=True)
    cost = MoneyField(read_only=True)
    bars_cost = MoneyField(read_only=True)
    ends_cost = MoneyField(read_only=True)
    loss = MoneyField(read_only=True)

    class Meta:
        model = CutRecord
        fields = (
            "poured",
            "good_weight",
            "rejected_weight",
            "ends_weight",
            "ends_lot",
            "ends_share",
            "cost",
            "bars_cost",
            "ends_cost",
            "loss",
        )
        read_only_fields = fields


class CutPlanSerializer(StrictSerializer):
    """How a batch is cut: bars, ends and the rest add up to the batter. Weights are as poured.

    `basis` is "poured" once it was, else "planned". The size is null for a measured mold.
    """

    batch = serializers.CharField(source="batch.code", read_only=True)
    basis = serializers.ChoiceField(choices=["planned", "poured"], read_only=True)
    batter = grams(source="batter_ng")
    bars = serializers.IntegerField(source="plan.bars", read_only=True)
    bar_weight = grams(source="plan.bar_ng")
    bar_size = BarSizeSerializer(source="plan.size", allow_null=True)
    ends = serializers.IntegerField(source="plan.ends", read_only=True)
    end_weight = grams(source="plan.end_ng")
    all_bars_weight = grams(source="plan.bars_ng")
    all_ends_weight = grams(source="plan.ends_ng")
    rest_weight = grams(source="plan.rest_ng")
    cut = CutRecordSerializer(source="record", allow_null=True)


class BarWeighingSerializer(StrictSerializer):
    """One sample bar on one day."""

    on = serializers.DateField(read_only=True)
    bar = serializers.IntegerField(read_only=True)
    weight = grams(source="weight_ng")


class DayMeanSerializer(StrictSerializer):
    """The mean of the sample on one day, of the bars that were weighed on every day."""

    on = serializers.DateField(read_only=True)
    bars = serializers.IntegerField(read_only=True)
    weight = grams(source="weight_ng")


class CurvePointSerializer(StrictSerializer):
    """The fitted curve on one day, with the band of its mean where there is one."""

    on = serializers.DateField(read_only=True)
    weight = grams(source="weight_ng")
    low = grams(source="low_ng", allow_null=True)
    high = grams(source="high_ng", allow_null=True)


class PredictedSerializer(StrictSerializer):
    """When the loss of the coming week falls to the limit, and between which days."""

    on = serializers.DateField(read_only=True)
    low = serializers.DateField(read_only=True, allow_null=True)
    high = serializers.DateField(read_only=True, allow_null=True)


class NoCurveSerializer(StrictSerializer):
    """Why no curve is drawn."""

    code = serializers.CharField(read_only=True)
    message = serializers.CharField(read_only=True)


class CureChoiceSerializer(StrictModelSerializer[CureChoice]):
    """What the maker chose, the last one holds."""

    class Meta:
        model = CureChoice
        fields = ("kind", "due_on", "ready_on", "reason", "at")
        read_only_fields = fields


class CureAnswerSerializer(StrictSerializer):
    """The cure: which date holds, what the weighings say, and the curve for a chart."""

    batch = serializers.CharField(source="batch.code", read_only=True)
    state = serializers.CharField(source="batch.state", read_only=True)
    rule = serializers.CharField(read_only=True)
    default_on = serializers.DateField(read_only=True)
    ready_on = serializers.DateField(read_only=True)
    weekly_loss_limit = ShownShare(source="limit")
    confidence = ShownShare()
    predicted = PredictedSerializer(allow_null=True)
    may_accept = serializers.BooleanField(read_only=True)
    no_curve = NoCurveSerializer(allow_null=True)
    means = DayMeanSerializer(many=True)
    weighings = BarWeighingSerializer(many=True)
    series = CurvePointSerializer(many=True)
    choices = CureChoiceSerializer(many=True)


class WeighedSampleSerializer(StrictSerializer):
    """Bars by weight: how many, their mean, standard deviation and the lightest."""

    count = serializers.IntegerField(read_only=True)
    mean = grams()
    deviation = grams()
    lightest = grams()


class NetWeightAnswerSerializer(StrictSerializer):
    """The largest label that both requirements allow, and why. Not for legal decisions."""

    label_weight = grams()
    label_ounces = DecimalTextField(places=2, read_only=True)
    binds = serializers.ChoiceField(choices=["average", "individual", "both"], read_only=True)
    by_average = grams()
    by_individual = grams()
    maximum_allowable_variation = grams()
    largest_scale_division = grams()
    usable_scale_division = grams()
    sale_on = serializers.DateField(read_only=True)
    weighed_on = serializers.DateField(read_only=True)
    weighed = WeighedSampleSerializer()
    expected = WeighedSampleSerializer()
    left = ShownShare()
    left_by = serializers.ChoiceField(choices=["curve", "recipe", "weighed"], read_only=True)
    inspected = serializers.IntegerField(read_only=True)
    correction_factor = DecimalTextField(places=3, read_only=True)
    reasons = serializers.ListField(child=serializers.CharField(), read_only=True)
    notes = serializers.ListField(child=serializers.CharField(), read_only=True)


def shown_net_weight(found: NetWeight) -> dict[str, Any]:
    """A net weight as `NetWeightAnswerSerializer` reads it."""
    label = found.label
    return {
        "label_weight": label.label,
        "label_ounces": found.ounces,
        "binds": label.binds.value,
        "by_average": label.by_average,
        "by_individual": label.by_individual,
        "maximum_allowable_variation": label.mav,
        "largest_scale_division": label.largest_division,
        "usable_scale_division": found.usable_division,
        "sale_on": found.sale_on,
        "weighed_on": found.weighed_on,
        "weighed": _sample(found.weighed),
        "expected": _sample(found.expected),
        "left": Decimal(round(found.left * 10**6)).scaleb(-6),
        "left_by": found.by,
        "inspected": found.inspected,
        "correction_factor": Decimal(found.correction).quantize(Decimal("0.001")),
        "reasons": found.reasons,
        "notes": found.notes,
    }


def _sample(sample: Sample) -> dict[str, Any]:
    return {
        "count": sample.count,
        "mean": round(sample.mean),
        "deviation": round(sample.deviation),
        "lightest": sample.lightest,
    }
