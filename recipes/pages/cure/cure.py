"""The cure: sample bars are weighed, a curve says when they are dry, and the maker accepts it."""

from datetime import date
from typing import Any

from django.contrib import messages
from django.forms import formset_factory
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from recipes.models.bench.batches import Batch, BatchState
from recipes.pages.bench.making_forms import BarForm, BarRows, CureDateForm, CureDayForm
from recipes.pages.bench.steps import another_step
from recipes.pages.cure.shown_cure import show_cure
from recipes.queries.bench.batches import batch_by_code
from recipes.queries.cure.cure import Cure, cure_from
from recipes.services.cure.cure import DayOfWeighing, choose_cure_date, weigh_bars
from studio.foundation.errors import Refusal
from studio.foundation.roles import Capability, capabilities_of
from studio.foundation.units.writing import how_many
from studio.web.pages.forms import filled, form_page, place_faults, see_other
from studio.web.pages.frame import preferences_of
from studio.web.pages.ruled import page, who
from studio.web.pages.stock_pages import stock_page
from studio.web.pages.writing import written_day

#: How many bars are offered to weigh at first, and at most.
USUAL_SAMPLE, MOST_ROWS = 5, 200
Rows = formset_factory(
    BarForm, formset=BarRows, extra=0, max_num=MOST_ROWS, validate_max=True, absolute_max=MOST_ROWS
)


@page(Capability.READ, methods=("GET", "HEAD"))
def cure_page(request: HttpRequest, code: str) -> HttpResponse:
    """The curve with its band, the dates, and the form of today's weighing."""
    batch = batch_by_code(code)
    if not _may_be_seen(batch):
        return another_step(request, batch, step="Cure of")
    cure = cure_from(batch)
    day = CureDayForm(initial={"on": timezone.localdate()})
    return _answer(request, cure, day, Rows(initial=_sample(cure), prefix="bars"))


@page(Capability.MAKE, methods=("POST",))
@stock_page
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
        try:
            weigh_bars(code, weighed, by=who(request))
        except Refusal as refusal:
            place_faults(refusal, day)
        else:
            count = how_many(len(weights), "bar")
            on = _written(request, weighed.on)
            messages.success(request, f"{count} of {code} weighed on {on}.")
            return see_other(request, "cure-page", code)
    return _answer(request, cure, day, rows, status=422)


@page(Capability.MAKE, methods=("POST",))
@stock_page
def cure_date_page(request: HttpRequest, code: str) -> HttpResponse:
    """Let the date of the weighings hold, or the recipe's again."""
    form = CureDateForm(request.POST)
    batch = batch_by_code(code)
    if not _may_be_seen(batch):
        return another_step(request, batch, step="Cure of")
    if form.is_valid():
        try:
            choose_cure_date(code, by=who(request), **form.cleaned_data)
        except Refusal as refusal:
            place_faults(refusal, form, names={"ready_on": ""})
        else:
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


def _blocked(batch: Batch) -> str:
    lot = batch.bar_lot or batch.poured_lot
    return lot.status_reason if lot is not None and lot.status == "blocked" else ""


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
        "blocked": _blocked(batch),
    }
    return form_page(request, "recipes/cure/cure.html", context, refused=status != 200)
