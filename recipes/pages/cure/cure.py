"""The cure: sample bars are weighed, a curve says when they are dry, and the maker accepts it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.contrib import messages
from django.forms import formset_factory
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from recipes.domain.cure.drying import BarWeighing, DayMean, day_means
from recipes.models.bench.batches import Batch, BatchState
from recipes.pages.bench.making import BarForm, BarRows, CureDateForm, CureDayForm, another_step
from recipes.queries.bench.batches import batch_by_code
from recipes.queries.cure.cure import Cure, cure_from, last_weights
from recipes.queries.labels.net_weight import NetWeight, NetWeightQuestion, net_weight_from
from recipes.services.bench.lot_holds import beside_cure
from recipes.services.cure.cure import DayOfWeighing, choose_cure_date, weigh_bars
from recipes.services.molds.drawings import drawing_of_cure
from studio.foundation.drawing.canvas import Chart
from studio.foundation.errors import Refusal
from studio.foundation.roles import Capability, capabilities_of
from studio.foundation.units.writing import format_amount, how_many
from studio.models import Preference
from studio.web.pages.forms import faults_on, filled, form_page, see_other
from studio.web.pages.frame import preferences_of
from studio.web.pages.ruled import GET, page, who
from studio.web.pages.writing import written_day, written_mass

#: So many bars stand in columns beside one another; a table of more would not be read.
MOST_COLUMNS = 12
#: How many bars are offered to weigh at first, and at most.
USUAL_SAMPLE, MOST_ROWS = 5, 200
Rows = formset_factory(
    BarForm, formset=BarRows, extra=0, max_num=MOST_ROWS, validate_max=True, absolute_max=MOST_ROWS
)


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


@page(Capability.READ, methods=GET)
def cure_page(request: HttpRequest, code: str) -> HttpResponse:
    """The curve with its band, the dates, and the form of today's weighing."""
    batch = batch_by_code(code)
    if not _may_be_seen(batch):
        return another_step(request, batch, step="Cure of")
    cure = cure_from(batch)
    day = CureDayForm(initial={"on": timezone.localdate()})
    return _answer(request, cure, day, Rows(initial=_sample(cure), prefix="bars"))


@page(Capability.MAKE, methods=("POST",), once=True)
def cure_weigh_page(request: HttpRequest, code: str) -> HttpResponse:
    """Keep what the sample bars weigh on a day."""
    batch = batch_by_code(code)
    if not _may_be_seen(batch):
        return another_step(request, batch, step="Cure of")
    cure = cure_from(batch)
    day, rows = CureDayForm(request.POST), Rows(request.POST, initial=_sample(cure), prefix="bars")
    if day.is_valid() and rows.is_valid():
        weights = {row["bar"]: row["weight"] for row in filled(rows)}
        weighed = DayOfWeighing(on=day.cleaned_data["on"], weights=weights)
        with faults_on(day):
            weigh_bars(code, weighed, by=who(request))
            count = how_many(len(weights), "bar")
            on = _written(request, weighed.on)
            messages.success(request, f"{count} of {code} weighed on {on}.")
            return see_other(request, "cure-page", code)
    return _answer(request, cure, day, rows, status=422)


@page(Capability.MAKE, methods=("POST",), once=True)
def cure_date_page(request: HttpRequest, code: str) -> HttpResponse:
    """Let the date of the weighings hold, or the recipe's again."""
    form = CureDateForm(request.POST)
    batch = batch_by_code(code)
    if not _may_be_seen(batch):
        return another_step(request, batch, step="Cure of")
    if form.is_valid():
        with faults_on(form, names={"ready_on": ""}):
            choose_cure_date(code, by=who(request), **form.cleaned_data)
            ready = _written(request, form.cleaned_data["ready_on"])
            messages.success(request, f"{code} cures until {ready}.")
            return see_other(request, "cure-page", code)
    cure = cure_from(batch)
    rows = Rows(initial=_sample(cure), prefix="bars")
    day = CureDayForm(initial={"on": timezone.localdate()})
    return _answer(request, cure, day, rows, chosen=form, status=422)


def _written(request: HttpRequest, day: date) -> str:
    return written_day(day, preferences_of(request.user).dates)


def _may_be_seen(batch: Batch) -> bool:
    """Soap cures from its pour on; its curve is kept once it is released."""
    return bool(batch.fats) and batch.state in (BatchState.POURED, BatchState.CUT, BatchState.CURED)


def _sample(cure: Cure) -> list[dict[str, int]]:
    """The bars that were weighed before, so that the same ones are weighed again."""
    bars = sorted({each.bar for each in cure.weighings}) or range(1, USUAL_SAMPLE + 1)
    most = min(MOST_ROWS, max(cure.batch.bars_good or 1, 1))
    return [{"bar": bar} for bar in list(bars)[:most]]


def _answer(
    request: HttpRequest,
    cure: Cure,
    day: CureDayForm,
    rows: Any,
    *,
    chosen: CureDateForm | None = None,
    status: int = 200,
) -> HttpResponse:
    batch = cure.batch
    makes = Capability.MAKE in capabilities_of(request.user)
    context = {
        "batch": batch,
        "shown": show_cure(cure, units=preferences_of(request.user).units),
        "day": day,
        "rows": rows,
        "chosen": chosen or CureDateForm(),
        "may_weigh": makes and bool(batch.bars_good) and batch.state != BatchState.POURED,
        "may_choose": makes and batch.state != BatchState.CURED,
        "is_due": timezone.localdate() >= cure.ready_on,
        "blocked": beside_cure(batch),
    }
    return form_page(request, "recipes/cure/cure.html", context, refused=status != 200)
