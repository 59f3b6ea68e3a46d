"""A cure in the words and lines of a page: the curve, the dates, what a label may say."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from recipes.domain.cure.drying import BarWeighing, DayMean, day_means
from recipes.queries.cure.cure import Cure, last_weights
from recipes.queries.labels.net_weight import NetWeight, NetWeightQuestion, net_weight_from
from recipes.services.molds.drawings import drawing_of_cure
from studio.foundation.drawing.canvas import Chart
from studio.foundation.errors import Refusal
from studio.foundation.units.writing import format_amount
from studio.models import Preference
from studio.web.pages.writing import written_mass

#: So many bars stand in columns beside one another; a table of more would not be read.
MOST_COLUMNS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownDay:
    """A day of weighing: the mean, and each bar in the order of the columns (None: not weighed)."""

    mean: DayMean
    weights: tuple[int | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownLabel:
    """What a label may say, in the reader's unit and then in the other; neither overstates."""

    net: NetWeight
    first: str
    second: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownCure:
    """A cure, its days, its drawing, and the net weight or why it is not known.

    `bars` are the numbers over the columns of `days`; empty where there are too many.
    """

    cure: Cure
    bars: tuple[int, ...]
    days: tuple[ShownDay, ...]
    chart: Chart
    label: ShownLabel | None
    no_label: str


def show_cure(cure: Cure, *, units: str) -> ShownCure:
    """A cure that was read, as its page shows it. Reads nothing."""
    means = day_means(cure.weighings)
    label, why = label_of(cure, units=units)
    numbers = tuple(sorted({each.bar for each in cure.weighings}))
    bars = numbers if len(numbers) <= MOST_COLUMNS else ()
    return ShownCure(
        cure=cure,
        bars=bars,
        days=_days(cure.weighings, means, bars),
        chart=drawing_of_cure(cure, written=lambda mass: written_mass(mass, units)[0]),
        label=label,
        no_label=why,
    )


def label_of(
    cure: Cure, *, units: str, sale_on: date | None = None
) -> tuple[ShownLabel | None, str]:
    """The net weight for a first sale on a day (None: when the cure is over), or why there is none.

    Reads nothing.
    """
    if last_weights(cure.weighings) is None:
        return None, "It is known once two bars or more, best 12, are weighed on one day."
    try:
        net = net_weight_from(cure, NetWeightQuestion(sale_on=sale_on))
    except Refusal as refusal:
        return None, str(refusal)
    grams, ounces = f"{format_amount(net.label.label, 'g')} g", f"{net.ounces} oz"
    is_us = units == Preference.Units.US
    first, second = (ounces, grams) if is_us else (grams, ounces)
    return ShownLabel(net=net, first=first, second=second), ""


def _days(
    weighings: Sequence[BarWeighing], means: Sequence[DayMean], bars: Sequence[int]
) -> tuple[ShownDay, ...]:
    weights = {(each.on, each.bar): each.weight_ng for each in weighings}
    return tuple(
        ShownDay(mean=mean, weights=tuple(weights.get((mean.on, bar)) for bar in bars))
        for mean in means
    )
