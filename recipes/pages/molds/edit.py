"""Adding and changing a mold, with what it holds while its measures are typed."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from recipes.domain.molds.molds import bars, fill_volume_nl
from recipes.domain.molds.shapes import full_volume_nl
from recipes.models.molds.molds import Mold
from recipes.pages.molds.form import MoldForm
from recipes.queries.molds.molds import cut_of, mold_by_code
from recipes.services.molds.drawings import drawing_of
from recipes.services.molds.molds import check_mold, save_mold
from studio.foundation.drawing.canvas import Chart
from studio.foundation.errors import Refusal
from studio.foundation.roles import Capability
from studio.web.pages.forms import faults_on, form_page, see_other
from studio.web.pages.row_forms import expected_of
from studio.web.pages.ruled import page, who


@page(Capability.PLAN)
def mold_new(request: HttpRequest) -> HttpResponse:
    """Add a mold."""
    form = MoldForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with faults_on(form):
            mold = save_mold(*form.given_row(), by=who(request))
            messages.success(request, f"{mold.name} is added. Recipes can be scaled to it.")
            return see_other(request, "mold-page", mold.code)
    return form_page(request, "recipes/molds/edit.html", _context(request, form, None))


@page(Capability.PLAN)
def mold_edit(request: HttpRequest, code: str) -> HttpResponse:
    """Change a mold. Batches keep the weights they were planned with."""
    kept = mold_by_code(code)
    form = MoldForm(request.POST or None, instance=kept)
    if request.method == "POST" and form.is_valid():
        with faults_on(form):
            save_mold(*form.given_row(), by=who(request), expected=expected_of(request))
            messages.success(request, f"{form.cleaned_data['name']} is changed.")
            return see_other(request, "mold-page", code)
    return form_page(request, "recipes/molds/edit.html", _context(request, form, kept))


@page(Capability.PLAN, methods=("POST",))
def mold_holds(request: HttpRequest) -> HttpResponse:
    """What the measures written so far hold, as a fragment; nothing is stored."""
    known = Mold.objects.filter(code=request.POST.get("known", "")).first()
    form = MoldForm(request.POST, instance=known)
    return render(request, "recipes/molds/_holds.html", {"holds": holding(form)})


def holding(form: MoldForm) -> dict[str, Any]:
    """What the mold that is written holds, or why nothing can be said yet."""
    form.is_valid()
    measures = [name for name in form.errors if name not in ("name", "code", "note")]
    if measures:
        return {"trouble": [(form[name].label, form.errors[name][0]) for name in measures]}
    mold = form.given_row()[0]
    try:
        check_mold(mold)
    except Refusal as refusal:
        fields = form.fields
        return {
            "trouble": [
                (fields[fault.field].label if fault.field in fields else "Mold", fault.message)
                for fault in refusal.faults
            ]
        }
    return shown_mold(mold)


def shown_mold(mold: Mold) -> dict[str, Any]:
    """Volumes, bars and drawing of a mold that can be."""
    cut = cut_of(mold)
    try:
        drawn: Chart | None = drawing_of(mold)
    except Refusal:
        # Measured by volume alone: there is no depth to draw.
        drawn = None
    return {
        "full": full_volume_nl(cut.mold),
        "fill": fill_volume_nl(cut.mold, cut.fill_height_nm),
        "bars": bars(cut),
        "drawing": drawn,
    }


def _context(request: HttpRequest, form: MoldForm, kept: Mold | None) -> dict[str, Any]:
    holds: dict[str, Any] | None = None
    if request.method == "POST" or kept is not None:
        written = request.POST if request.method == "POST" else None
        holds = holding(MoldForm(written, instance=kept)) if written else _kept(kept)
    return {"form": form, "mold": kept, "holds": holds}


def _kept(mold: Mold | None) -> dict[str, Any] | None:
    try:
        return shown_mold(mold) if mold is not None else None
    except Refusal as refusal:
        # Kept before a rule was made: what is wrong is what to mend here.
        return {"trouble": [("Mold", fault.message) for fault in refusal.faults]}
