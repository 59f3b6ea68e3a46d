"""The page of a batch: what comes next, what it holds, its verbs as buttons, and its sheet."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from recipes.domain.bench.cautions import Caution
from recipes.models.bench.batches import Batch, BatchState
from recipes.models.bench.judgements import Judgement
from recipes.pages.bench.worst import AcceptsWorst, asking_worst
from recipes.paper.labels import address
from recipes.paper.sheet import drawing_for, sheet_values
from recipes.queries.bench.batches import batch_by_code, by_position, due_on, standing_weighings
from recipes.queries.bench.judgements import judgement_of
from recipes.queries.cure.batch_history import Happening, history_of, making_for, readings_of
from recipes.services.bench.as_made import Actuals, actuals_for
from recipes.services.bench.batches import cancel_batch, unreserve_batch
from recipes.services.bench.sheets import sheet_of
from recipes.services.bench.shelf import BatchShelf, batch_rows, cautions_of, held_lots, shelf_for
from recipes.services.levels.multilevel import cancel_tree, reserve_planned
from recipes.services.molds.drawings import drawing_of_made
from recipes.services.scaling.portions import Portions, portions_of
from studio.foundation.drawing.canvas import Chart
from studio.foundation.errors import Refusal
from studio.foundation.paper.codes import qr_svg
from studio.foundation.roles import Capability
from studio.web.form_fields import DayFormField
from studio.web.pages.forms import faults_on, form_page, refused_form, see_other
from studio.web.pages.ruled import GET, page

STATES: Mapping[BatchState, str] = MappingProxyType(
    {
        BatchState.PLANNED: "planned",
        BatchState.RESERVED: "reserved",
        BatchState.POURED: "in the mold",
        BatchState.CUT: "curing",
        BatchState.CURED: "released",
        BatchState.CANCELLED: "called off",
    }
)
_NEXT = {
    BatchState.PLANNED: "Reserve",
    BatchState.RESERVED: "Weigh and pour",
    BatchState.POURED: "Cut",
    BatchState.CUT: "Release bars",
}
OPEN = (BatchState.PLANNED, BatchState.RESERVED)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownBatch:
    """All that the page of a batch shows. `shelf` is None once nothing more is needed of it."""

    batch: Batch
    state: str
    actuals: Actuals
    shelf: BatchShelf | None
    portions: Portions
    drawing: Chart | None
    cautions: tuple[Caution, ...]
    making: Sequence[Batch]
    history: Sequence[Happening]
    judged: Judgement | None

    @property
    def is_soap(self) -> bool:
        """Whether it is poured and cut; a blend is only mixed."""
        return bool(self.batch.fats)

    @property
    def to_weigh(self) -> int:
        """How many lines are weighed before the pour."""
        return sum(1 for line in self.actuals.lines if not line.row.is_packing)

    @property
    def weighed(self) -> int:
        """How many of them are weighed."""
        return sum(
            1 for line in self.actuals.lines if not line.row.is_packing and line.actual is not None
        )

    @property
    def missing_made(self) -> bool:
        """Whether something that is made here is short."""
        return any(
            line.shelf.short and line.material.kind == "intermediate"
            for line in (self.shelf.lines if self.shelf else ())
        )

    @property
    def to_make(self) -> Sequence[Batch]:
        """Batches planned for this one that are not made yet."""
        return [one for one in self.making if one.state in ("planned", "reserved")]


def next_of(batch: Batch) -> str:
    """The verb that comes next for a batch; empty when nothing does."""
    state = BatchState(batch.state)
    if state is BatchState.RESERVED and not batch.fats:
        return "Weigh and mix"
    return _NEXT.get(state, "")


def show_batch(batch: Batch) -> ShownBatch:
    """A batch that is loaded, as its page shows it. A fixed number of queries."""
    rows, held, readings = batch_rows(batch), held_lots(batch), readings_of(batch)
    standing = by_position(one for one in readings if one.set_aside_at is None)
    is_open = batch.state in (BatchState.PLANNED, BatchState.RESERVED)
    portions = portions_of(batch)
    return ShownBatch(
        batch=batch,
        state=STATES[BatchState(batch.state)],
        actuals=actuals_for(batch, rows, held, standing),
        shelf=shelf_for(batch, rows, held, standing) if is_open else None,
        portions=portions,
        drawing=_drawing(batch, portions),
        cautions=cautions_of(batch) if is_open else (),
        making=making_for(batch) if is_open else (),
        history=history_of(batch, readings),
        judged=judgement_of(batch),
    )


def _drawing(batch: Batch, portions: Portions) -> Chart | None:
    if batch.mold is None or not batch.fats:
        return None
    try:
        return drawing_of_made(batch, portions)
    except Refusal:
        # A mold that was only measured has no shape to draw.
        return None


class ReserveForm(AcceptsWorst):
    """How a batch is reserved."""

    reset_lye = forms.BooleanField(
        required=False,
        label="Set the lye anew on the lots that are held",
        help_text="Their certificates then decide the weights of alkali and water.",
    )
    expires_on = DayFormField(required=False, label="Hold it until")
    on = DayFormField(
        required=False,
        label="Made on",
        help_text="For a batch that is made already: lots that were there and fresh on that day.",
    )


@page(Capability.READ, methods=GET)
def batch_page(request: HttpRequest, code: str) -> HttpResponse:
    """A batch, from the plan to released bars."""
    return _answer(request, batch_by_code(code), ReserveForm())


@page(Capability.PLAN, methods=("POST",), once=True)
def reserve_page(request: HttpRequest, code: str) -> HttpResponse:
    """Hold all that a batch needs, with what is planned for it, or nothing."""
    form = ReserveForm(request.POST)
    if form.is_valid():
        with faults_on(form), asking_worst(form):
            reserve_planned(code, **form.cleaned_data, by=request.user)  # type: ignore[arg-type]
            messages.success(request, f"What {code} needs is held for it.")
            return see_other(request, "batch-page", code)
    return _answer(request, batch_by_code(code), form, status=422)


@page(Capability.PLAN, methods=("POST",), once=True)
def give_back_page(request: HttpRequest, code: str) -> HttpResponse:
    """Give back what a batch holds; it is planned again."""
    form = ReserveForm()
    try:
        unreserve_batch(code, by=request.user)  # type: ignore[arg-type]
    except Refusal as refusal:
        form = refused_form(refusal, ReserveForm({}))
        return _answer(request, batch_by_code(code), form, status=422)
    messages.success(request, f"What {code} held is back on the shelf; it is planned again.")
    return see_other(request, "batch-page", code)


def _answer(
    request: HttpRequest, batch: Batch, form: ReserveForm, *, status: int = 200
) -> HttpResponse:
    today = timezone.localdate()
    due = due_on(batch)
    context = {
        "batch": batch,
        "shown": show_batch(batch),
        "form": form,
        "due": due,
        "is_due": due is not None and due <= today,
    }
    return render(request, "recipes/bench/batch.html", context, status=status)


class CancelForm(forms.Form):
    """Why a batch is called off, and whether those planned for it go with it."""

    reason = forms.CharField(
        required=False,
        max_length=1000,
        label="Why",
        help_text="It stays in the batch's notes.",
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    with_making = forms.BooleanField(
        required=False, initial=True, label="Call off what was planned for it, too"
    )


@page(Capability.PLAN, once=True)
def cancel_page(request: HttpRequest, code: str) -> HttpResponse:
    """Say what calling a batch off does, and do it."""
    batch = batch_by_code(code)
    if request.method != "POST" and batch.state not in OPEN:
        return see_other(request, "batch-page", code)
    form = CancelForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with faults_on(form):
            gone = _call_off(code, form.cleaned_data, by=request.user)
            names = ", ".join(one.code for one in gone)
            messages.success(request, f"Called off: {names}. What was held is free again.")
            return see_other(request, "batch-page", code)
    return form_page(request, "recipes/bench/batch_cancel.html", _context(batch, form))


def _call_off(code: str, given: dict[str, Any], *, by: Any) -> list[Batch]:
    if given["with_making"]:
        return cancel_tree(code, by=by, reason=given["reason"])
    return [cancel_batch(code, by=by, reason=given["reason"])]


def _context(batch: Batch, form: CancelForm) -> dict[str, Any]:
    held = held_lots(batch)
    return {
        "batch": batch,
        "form": form,
        "held": [
            (row.material, lot, amount)
            for row in {row.material_id: row for row in batch_rows(batch)}.values()
            for lot, amount in held.get(row.material_id, ())
        ],
        "readings": len(standing_weighings(batch.pk)),
        "making": [one for one in making_for(batch) if one.state in OPEN],
    }


@page(Capability.READ, methods=GET)
def sheet_page(request: HttpRequest, code: str) -> HttpResponse:
    """The sheet of a batch, as the PDF has it."""
    sheet = sheet_of(code)
    context = {
        "sheet": sheet_values(sheet),
        "drawing": drawing_for(sheet),
        "code": qr_svg(address(request.path)),
    }
    return render(request, "recipes/bench/sheet.html", context)
