"""A cure in the words and lines of a page: the curve, the dates, what a label may say."""

from dataclasses import dataclass

from recipes.domain.drying import DayMean, day_means
from recipes.queries.cure import Cure
from recipes.queries.net_weight import NetWeight, NetWeightQuestion, net_weight_from
from studio.errors import Refusal
from studio.pages.charts.canvas import Chart
from studio.pages.charts.curve import DayMark, DayValue, FittedValue, curve_with_band
from studio.pages.charts.scales import Unit
from studio.pages.writing import written_mass
from studio.units import NG_PER_G


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownCure:
    """A cure, its days, its drawing, and the net weight or why it is not known."""

    cure: Cure
    means: tuple[DayMean, ...]
    chart: Chart
    label: NetWeight | None
    no_label: str


def show_cure(cure: Cure, *, units: str) -> ShownCure:
    """A cure that was read, as its page shows it. Reads nothing."""
    means = day_means(cure.weighings)
    label, why = _label(cure)
    return ShownCure(
        cure=cure, means=means, chart=_chart(cure, means, units), label=label, no_label=why
    )


def _label(cure: Cure) -> tuple[NetWeight | None, str]:
    try:
        return net_weight_from(cure, NetWeightQuestion()), ""
    except Refusal as refusal:
        return None, str(refusal)


def _chart(cure: Cure, means: tuple[DayMean, ...], units: str) -> Chart:
    return curve_with_band(
        prefix="cure",
        title="Mean weight of the sample bars",
        points=[
            DayValue(on=each.on, value=each.weight_ng, text=written_mass(each.weight_ng, units)[0])
            for each in means
        ],
        unit=Unit(per_unit=NG_PER_G, word="g"),
        fitted=[
            FittedValue(on=each.on, value=each.weight_ng, low=each.low_ng, high=each.high_ng)
            for each in cure.series
        ],
        marks=_marks(cure),
    )


def _marks(cure: Cure) -> list[DayMark]:
    marks = [DayMark(on=cure.default_on, label="by the recipe")]
    if cure.predicted is not None and cure.predicted.on != cure.default_on:
        marks.append(DayMark(on=cure.predicted.on, label="by the weighings"))
    return marks
