"""Cut plans, cures and net weights as answers."""

from rest_framework import serializers

from recipes.api.answers import grams
from recipes.domain.cure.cutting import BarSize
from recipes.domain.cure.drying import BarWeighing, CurvePoint, DayMean, NoCurve, StableDate
from recipes.domain.labels.net_weight import Sample
from recipes.models.cure.finishing import CureChoice, CutRecord
from recipes.queries.cure.cure import BatchCut, Cure
from recipes.queries.labels.net_weight import NetWeight
from studio.web.api.answers import AnswerSerializer
from studio.web.serializer_fields.numbers import (
    DecimalTextField,
    ShownDecimalField,
    ShownShareField,
)


class BarSizeSerializer(AnswerSerializer):
    """A bar as cut: along the log, across it, and up."""

    shows = BarSize


class CutRecordSerializer(AnswerSerializer):
    """The cut as it was made. What the poured soap cost went to bars, kept ends and loss."""

    shows = CutRecord
    says = (
        *("poured", "good_weight", "rejected_weight", "ends_weight", "lost_weight", "reason"),
        *("ends_lot.code as ends_lot", "ends_share", "cost", "bars_cost", "ends_cost", "loss"),
    )
    cost_fields = ("cost", "bars_cost", "ends_cost", "loss")
    lost_weight = grams(allow_null=True)
    ends_share = ShownShareField(allow_null=True)


class CutPlanSerializer(AnswerSerializer):
    """How a batch is cut: bars, ends and the rest add up to the batter. Weights are as poured.

    `basis` is "poured" once it was, else "planned". The size is null for a measured mold.
    """

    shows = BatchCut
    says = (
        *("batch.code as batch", "basis", "batter_ng", "plan.bars", "plan.bar_ng as bar_weight"),
        *("plan.size as bar_size", "plan.ends", "plan.end_ng as end_weight"),
        *("plan.bars_ng as all_bars_weight", "plan.ends_ng as all_ends_weight"),
        *("plan.rest_ng as rest_weight", "cut"),
    )
    basis = serializers.ChoiceField(choices=["planned", "poured"])
    cut = CutRecordSerializer(source="record", allow_null=True)


class BarWeighingSerializer(AnswerSerializer):
    """One sample bar on one day."""

    shows = BarWeighing


class DayMeanSerializer(AnswerSerializer):
    """The mean of the sample on one day, of the bars that were weighed on every day."""

    shows = DayMean
    says = ("on", "bars", "weight_ng")


class CurvePointSerializer(AnswerSerializer):
    """The fitted curve on one day, with the band of its mean where there is one."""

    shows = CurvePoint


class PredictedSerializer(AnswerSerializer):
    """When the loss of the coming week falls to the limit, and between which days."""

    shows = StableDate


class NoCurveSerializer(AnswerSerializer):
    """Why no curve is drawn."""

    shows = NoCurve


class CureChoiceSerializer(AnswerSerializer):
    """What the maker chose, the last one holds."""

    shows = CureChoice
    says = ("kind", "due_on", "ready_on", "reason", "at")


class CureAnswerSerializer(AnswerSerializer):
    """The cure: which date holds, what the weighings say, and the curve for a chart."""

    shows = Cure
    says = (
        *("batch.code as batch", "batch.state", "rule", "default_on", "ready_on"),
        *("limit as weekly_loss_limit", "confidence", "predicted", "may_accept", "no_curve"),
        *("means", "weighings", "series", "choices"),
    )
    choices = CureChoiceSerializer(many=True)


class WeighedSampleSerializer(AnswerSerializer):
    """Bars by weight: how many, their mean, standard deviation and the lightest."""

    shows = Sample


class NetWeightAnswerSerializer(AnswerSerializer):
    """The largest label that both requirements allow, and why. Not for legal decisions."""

    shows = NetWeight
    says = (
        *("label.label as label_weight", "label_ounces", "label.binds", "label.by_average"),
        *("label.by_individual", "label.mav as maximum_allowable_variation"),
        "label.largest_division as largest_scale_division",
        *("usable_division as usable_scale_division", "sale_on", "weighed_on", "weighed"),
        *("expected", "left", "left_by", "inspected", "correction_factor", "reasons", "notes"),
    )
    label_ounces = DecimalTextField(places=2, source="ounces")
    left_by = serializers.ChoiceField(choices=["curve", "recipe", "weighed"], source="by")
    correction_factor = ShownDecimalField(places=3, source="correction")
