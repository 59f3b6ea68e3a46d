"""The cut: good bars, rejects and ends; it opens the lot of bars that cure."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse

from recipes.models.bench.batches import Batch, BatchState
from recipes.pages.bench.making_forms import CutForm
from recipes.pages.bench.steps import another_step
from recipes.pages.cure.cut_drawing import draw_cut
from recipes.queries.bench.batches import batch_by_code
from recipes.queries.cure.cure import BatchCut, cut_plan_from
from recipes.services.cure.finishing import Cut, cut_batch
from studio.foundation.errors import Refusal
from studio.foundation.roles import Capability
from studio.foundation.units.writing import how_many
from studio.web.pages.forms import form_page, place_faults, see_other
from studio.web.pages.frame import preferences_of
from studio.web.pages.ruled import page, who
from studio.web.pages.stock_pages import stock_page
from studio.web.pages.writing import written_day

#: What is folded away until it is used.
_SELDOM = (
    *("good_weight", "rejected_weight", "ends_weight", "keep_ends", "ends_cost_share"),
    "bars_rejected_abnormal",
)
_COUNTS = ("bars_rejected", "bars_rejected_abnormal", "minutes")


@page(Capability.MAKE)
@stock_page
def cut_page(request: HttpRequest, code: str) -> HttpResponse:
    """How the pour is cut by its mold, and how it turned out."""
    batch = batch_by_code(code)
    if batch.state != BatchState.POURED:
        return another_step(request, batch, step="Cut")
    plan = _plan(batch)
    planned = plan.plan.bars if plan else batch.bars_planned
    form = CutForm(request.POST or None, initial={"bars_good": planned})
    if request.method == "POST" and form.is_valid():
        try:
            cut = cut_batch(code, _cut(form.cleaned_data), by=who(request))
        except Refusal as refusal:
            place_faults(refusal, form)
        else:
            _tell(request, cut)
            return see_other(request, "batch-page", code)
    context = {
        "batch": batch,
        "form": form,
        "cut": plan,
        "drawing": draw_cut(plan.layout) if plan and plan.layout else None,
        "blocked": _blocked(batch),
        "open": any(form[name].data for name in _SELDOM) if form.is_bound else False,
    }
    return form_page(request, "recipes/cure/cut.html", context)


def _plan(batch: Batch) -> BatchCut | None:
    try:
        return cut_plan_from(batch)
    except Refusal:
        # It fills no mold, or one whose measures were changed so that it gives no bar any more.
        return None


def _cut(given: dict[str, Any]) -> Cut:
    return Cut(**{**given, **{name: given[name] or 0 for name in _COUNTS}})


def _tell(request: HttpRequest, batch: Batch) -> None:
    bars = how_many(batch.bars_good or 0, "good bar")
    ready_on = batch.cure_ready_on
    if batch.bar_lot is None or ready_on is None:
        messages.warning(request, f"{batch.code} gave no good bar; its soap is written off.")
    elif batch.bar_lot.status == "blocked":
        messages.error(request, f"{batch.code} is cut into {bars}; they are blocked.")
    else:
        ready = written_day(ready_on, preferences_of(request.user).dates)
        messages.success(request, f"{batch.code} is cut into {bars}. They cure until {ready}.")


def _blocked(batch: Batch) -> str:
    lot = batch.poured_lot
    return lot.status_reason if lot is not None and lot.status == "blocked" else ""
