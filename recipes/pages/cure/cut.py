"""The cut: good bars, rejects and ends, and a drawing of it; it opens the lot of bars that cure."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse

from recipes.domain.cure.cutting import CutLayout
from recipes.models.bench.batches import Batch, BatchState
from recipes.pages.bench.making import CutForm, another_step
from recipes.queries.bench.batches import batch_by_code
from recipes.queries.cure.cure import BatchCut, cut_plan_from
from recipes.services.cure.finishing import Cut, cut_batch
from recipes.services.molds.drawings import millimeters
from studio.foundation.drawing.canvas import SMALL, Canvas, Chart, chart, estimated_width
from studio.foundation.errors import Refusal
from studio.foundation.roles import Capability
from studio.foundation.units.writing import how_many
from studio.web.pages.forms import faults_on, form_page, see_other
from studio.web.pages.frame import preferences_of
from studio.web.pages.ruled import page, who
from studio.web.pages.writing import written_day

#: How high a log may be drawn, and at least; what is longer than that is drawn to two scales.
HIGHEST, LOWEST = 190.0, 44.0
#: More lines than this would be one gray.
MOST_LINES = 60
BELOW = 22.0
#: What is folded away until it is used.
_SELDOM = (
    "reason",
    *("good_weight", "rejected_weight", "ends_weight", "keep_ends", "ends_cost_share"),
    "bars_rejected_abnormal",
)
_COUNTS = ("bars_rejected", "bars_rejected_abnormal")


def draw_cut(layout: CutLayout) -> Chart:
    """A log or slab with the lines it is cut along."""
    rows = _rows(layout)
    return chart(
        prefix="cut",
        title="The cut, seen from above",
        words=" ".join(f"{name}: {value}." for name, value in rows),
        columns=("What", "Measure"),
        rows=rows,
        draw=lambda canvas: _draw(canvas, layout),
    )


def _rows(layout: CutLayout) -> list[tuple[str, str]]:
    size = layout.size
    rows = [
        ("Bars along", str(layout.along)),
        ("Bars across", str(layout.across)),
        ("Layers", str(layout.layers)),
        ("A bar along", millimeters(size.length_nm)),
        ("A bar across", millimeters(size.width_nm)),
        ("A bar up", millimeters(size.height_nm)),
    ]
    if layout.trim_nm:
        rows.append(("End at either side", millimeters(layout.trim_nm)))
    if layout.rest_nm:
        rows.append(("Too short for a bar", millimeters(layout.rest_nm)))
    if layout.pieces > 1:
        rows.append(("So many of them", str(layout.pieces)))
    return rows


def _draw(canvas: Canvas, layout: CutLayout) -> None:
    across_words = millimeters(layout.size.width_nm)
    room = canvas.width - estimated_width(across_words, SMALL) - 12
    scale = min(room / layout.length_nm, HIGHEST / layout.width_nm)
    width, height = layout.length_nm * scale, max(layout.width_nm * scale, LOWEST)
    trim, rest = layout.trim_nm * scale, layout.rest_nm * scale
    top, inner = 8.0, width - 2 * trim - rest
    for x, wide, fill in (
        (0.0, trim, "upright"),
        (width - trim - rest, rest, "band"),
        (width - trim, trim, "upright"),
    ):
        if wide:
            canvas.rect(x, top, wide, height, css="ch-edge-ash", fill=fill)
    canvas.rect(trim, top, inner, height, css="ch-box")
    for at in _lines(layout.along, inner):
        canvas.line(trim + at, top, trim + at, top + height, css="ch-edge-line")
    for at in _lines(layout.across, height):
        canvas.line(trim, top + at, trim + inner, top + at, css="ch-edge-line")
    canvas.rect(0, top, width, height, css="ch-room")
    _measures(canvas, layout, trim, inner, top + height)
    canvas.text(width + 6, top + height / layout.across / 2 + 4, across_words, size=SMALL)
    canvas.height = _words(canvas, layout, top + height + BELOW + 12)


def _lines(count: int, span: float) -> list[float]:
    """Where it is cut, from one side; none where they would be one gray."""
    return [span * index / count for index in range(1, count)] if count <= MOST_LINES else []


def _measures(canvas: Canvas, layout: CutLayout, left: float, inner: float, y: float) -> None:
    """How long the first bar is, below it."""
    end = left + inner / layout.along
    canvas.line(left, y + 6, end, y + 6, css="ch-axis")
    canvas.line(left, y + 2, left, y + 10, css="ch-axis")
    canvas.line(end, y + 2, end, y + 10, css="ch-axis")
    canvas.text(left, y + BELOW, millimeters(layout.size.length_nm), size=SMALL)


def _words(canvas: Canvas, layout: CutLayout, y: float) -> float:
    told = [f"{millimeters(layout.size.height_nm)} high"]
    if layout.layers > 1:
        told.append(f"{layout.layers} layers")
    if layout.pieces > 1:
        told.append(f"one of {layout.pieces}")
    entries = [("", "", ", ".join(told))]
    if layout.trim_nm:
        entries.append(("ch-edge-ash", "upright", f"end, {millimeters(layout.trim_nm)}"))
    if layout.rest_nm:
        words = f"too short for a bar, {millimeters(layout.rest_nm)}"
        entries.append(("ch-edge-ash", "band", words))
    return canvas.legend(y, entries)


@page(Capability.MAKE, once=True)
def cut_page(request: HttpRequest, code: str) -> HttpResponse:
    """How the pour is cut by its mold, and how it turned out."""
    batch = batch_by_code(code)
    if batch.state != BatchState.POURED:
        return another_step(request, batch, step="Cut")
    plan = _plan(batch)
    planned = plan.plan.bars if plan else batch.bars_planned
    form = CutForm(request.POST or None, initial={"bars_good": planned})
    if request.method == "POST" and form.is_valid():
        with faults_on(form):
            cut = cut_batch(code, _cut(form.cleaned_data), by=who(request))
            _tell(request, cut)
            return see_other(request, "batch-page", code)
    context = {
        "batch": batch,
        "form": form,
        "cut": plan,
        "drawing": draw_cut(plan.layout) if plan and plan.layout else None,
        "blocked": _blocked(batch),
        "open": any(form[name].data or form[name].errors for name in _SELDOM)
        if form.is_bound
        else False,
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
    elif batch.bar_lot.state == "blocked":
        messages.error(request, f"{batch.code} is cut into {bars}; they are blocked.")
    else:
        ready = written_day(ready_on, preferences_of(request.user).dates)
        messages.success(request, f"{batch.code} is cut into {bars}. They cure until {ready}.")


def _blocked(batch: Batch) -> str:
    lot = batch.poured_lot
    return lot.state_reason if lot is not None and lot.state == "blocked" else ""
