"""The cut plan, the cure by weight, and the net weight of a batch's bars."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from recipes.api.answers import grams
from recipes.api.fields import DayField
from recipes.domain.cure.cutting import BarSize
from recipes.domain.cure.drying import BarWeighing, CurvePoint, DayMean, NoCurve, StableDate
from recipes.domain.labels.net_weight import USUAL_CONFIDENCE, Sample
from recipes.models.bench.batches import Batch
from recipes.models.cure.finishing import CureChoice, CutRecord
from recipes.queries.cure.cure import BatchCut, Cure, cure_of, cut_plan_of
from recipes.queries.labels.net_weight import NetWeight, NetWeightQuestion, net_weight_of
from recipes.services.cure.cure import (
    HEAVIEST,
    MOST_BARS_WEIGHED,
    DayOfWeighing,
    choose_cure_date,
    weigh_bars,
)
from recipes.services.molds.drawings import drawing_of_cure
from studio.foundation.drawing.canvas import Chart
from studio.foundation.errors import Faults, InvalidInput
from studio.foundation.roles import Capability
from studio.foundation.units.registry import NG_PER_G
from studio.web.api.answers import AnswerSerializer
from studio.web.api.callers import caller
from studio.web.api.serializers import StrictSerializer
from studio.web.api.verbs import look, verb
from studio.web.api.viewsets import StudioViewSet
from studio.web.downloads import DrawingView
from studio.web.serializer_fields.numbers import (
    DecimalTextField,
    ShareField,
    ShownDecimalField,
    ShownShareField,
)
from studio.web.serializer_fields.quantities import BaseQuantityField


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


LEAST_CONFIDENCE, MOST_CONFIDENCE = Decimal("0.5001"), Decimal("0.9999")


class BarWeightSerializer(StrictSerializer):
    """What one sample bar weighs, by its number."""

    bar = serializers.IntegerField(min_value=1, max_value=10**6)
    weight = BaseQuantityField(unit="g")


class WeighBarsSerializer(StrictSerializer):
    """Sample bars of a day, in any unit: by number in `bars`, or bars 1, 2, 3 ... in `weights`."""

    on = DayField()
    weights = serializers.ListField(
        child=BaseQuantityField(unit="g"), required=False, max_length=MOST_BARS_WEIGHED
    )
    bars = BarWeightSerializer(many=True, required=False, max_length=MOST_BARS_WEIGHED)  # type: ignore[call-arg]

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        faults = Faults()
        if ("weights" in attrs) == ("bars" in attrs):
            faults.add("one-of-two", "Give either weights or bars.", "weights")
            faults.raise_if_any(InvalidInput)
        found: dict[int, int] = {}
        for place, bar, weight in _weighed(attrs):
            if bar in found:
                faults.add("bar-twice", f"Bar {bar} is given twice.", f"{place}.bar")
            _check_weight(weight, place if "weights" in attrs else f"{place}.weight", faults)
            found[bar] = weight
        faults.raise_if_any(InvalidInput)
        return {"on": attrs["on"], "weights": found}


class CureDateSerializer(StrictSerializer):
    """The date that shall hold: the predicted one, or the recipe's."""

    ready_on = DayField()
    reason = serializers.CharField(max_length=1000, allow_blank=True, default="")


class NetWeightSerializer(StrictSerializer):
    """The first day of sale (else when the cure is over), and the sample.

    Without `weights` the last cure weighing of two bars or more is taken. Labels are whole `step`s.
    """

    sale_on = DayField(required=False)
    weights = serializers.ListField(
        child=BaseQuantityField(unit="g"), required=False, max_length=MOST_BARS_WEIGHED
    )
    weighed_on = DayField(required=False)
    confidence = ShareField(
        min_value=LEAST_CONFIDENCE, max_value=MOST_CONFIDENCE, default=USUAL_CONFIDENCE
    )
    step = BaseQuantityField(unit="g", default=NG_PER_G)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        faults = Faults()
        for index, weight in enumerate(attrs.get("weights", ())):
            _check_weight(weight, f"weights.{index}", faults)
        if not NG_PER_G // 1000 <= attrs["step"] <= HEAVIEST:
            faults.add("step-outside", "A step is 1 mg or more.", "step")
        if "weighed_on" in attrs and "weights" not in attrs:
            faults.add("weights-missing", "Give the weights of that day.", "weights")
        faults.raise_if_any(InvalidInput)
        return attrs


class CureViewSet(StudioViewSet):
    """From the mold's grid to bars that may be sold, and what their label may say."""

    queryset = Batch.objects.all()
    serializer_class = CureAnswerSerializer

    @look(Capability.READ, answer=CutPlanSerializer)
    def cut_plan(self, request: Request, code: str) -> Any:
        """Bars, their size and weight, ends and the rest; the cut as it was once it is made."""
        return cut_plan_of(code)

    @look(Capability.READ)
    def cure_curve(self, request: Request, code: str) -> Any:
        """The weighings, the drying curve with its band, and which date holds by which rule."""
        return self._shown(code)

    @verb(Capability.MAKE, given=WeighBarsSerializer)
    def weighings(self, request: Request, code: str, given: Any) -> Any:
        """Keep what sample bars weigh; a bar weighed again on that day has its new weight."""
        weigh_bars(code, DayOfWeighing(**given), by=caller(request))
        return self._shown(code)

    @verb(Capability.MAKE, given=CureDateSerializer)
    def cure_date(self, request: Request, code: str, given: Any) -> Any:
        """Accept the date that the weighings predict, or go back to the recipe's."""
        choose_cure_date(code, by=caller(request), **given)
        return self._shown(code)

    @verb(
        (Capability.READ, Capability.COMPUTE),
        given=NetWeightSerializer,
        answer=NetWeightAnswerSerializer,
        once=False,
    )
    def net_weight(self, request: Request, code: str, given: Any) -> Any:
        """The largest label weight that the average and the single bars allow; stores nothing."""
        step = given.pop("step")
        asked = NetWeightQuestion(step_ng=step, **given)
        return net_weight_of(code, asked)

    def _shown(self, code: str) -> Response:
        return self.answer(cure_of(code))


class CureDrawingView(DrawingView):
    """The cure of a batch as a curve with its band."""

    def drawing(self, **kwargs: Any) -> Chart:
        return drawing_of_cure(cure_of(kwargs["code"]))


def _weighed(attrs: dict[str, Any]) -> Iterator[tuple[str, int, int]]:
    """Where it stands, number and weight of each bar."""
    for index, weight in enumerate(attrs.get("weights", ())):
        yield f"weights.{index}", index + 1, weight
    for index, one in enumerate(attrs.get("bars", ())):
        yield f"bars.{index}", one["bar"], one["weight"]


def _check_weight(weight: int, place: str, faults: Faults) -> None:
    if not 0 < weight <= HEAVIEST:
        faults.add("weight-outside", "A bar weighs from above 0 to 100 kg.", place)
