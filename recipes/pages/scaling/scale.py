"""The scale page: a recipe at the size of a mold, or at any size, and one button to plan it."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from recipes.errors import RecipeRefusal
from recipes.pages.scaling.scale_form import ScaleForm
from recipes.pages.scaling.shown_plan import ShownPlan, show_plan
from recipes.queries.formulas.formulas import LoadedFormula, load_formula
from recipes.queries.molds.molds import active_molds
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.shelf import check_shelf
from recipes.services.scaling.planning import Plan, make_plan, plan_batch
from recipes.services.scaling.wishes import wish_from
from studio.foundation.errors import Refusal
from studio.foundation.roles import Capability
from studio.web.pages.forms import place_faults, see_other
from studio.web.pages.ruled import page
from studio.web.pages.stock_pages import stock_page

#: Name of a fault's field in the rules -> field of the form.
NAMES = {
    "fill_height": "fill_height",
    "target.fill_height": "fill_height",
    "fill_height_nm": "fill_height",
    "poured_weight_ng": "poured_weight",
    "fats_ng": "amount",
    "batter_ng": "amount",
    "volume_nl": "amount",
}


@page((Capability.READ, Capability.COMPUTE), methods=("GET", "HEAD"))
def scale_page(request: HttpRequest, code: str) -> HttpResponse:
    """The weights of a recipe at a size, and the shelf's answer; the address holds all asked."""
    loaded, form = _asked(request, code, request.GET)
    made = None
    if not form.is_empty and form.is_valid():
        made = _planned(loaded, form)
    shown = _shown(made, form) if made else None
    return _answer(request, loaded, form, shown)


@page(Capability.PLAN, methods=("POST",))
@stock_page
def plan_page(request: HttpRequest, code: str) -> HttpResponse:
    """Plan the batch that the scale page shows, and hold what it needs, all or nothing."""
    loaded, form = _asked(request, code, request.POST)
    plan = _planned(loaded, form) if form.is_valid() else None
    if plan is None:
        return _answer(request, loaded, form, None, status=422)
    by: Any = request.user
    reserving = request.POST.get("then") != "plan"
    try:
        batch = plan_batch(plan, planned_on=form.cleaned_data["on"], by=by)
        if reserving:
            reserve_batch(batch.code, by=by)
    except Refusal as refusal:
        place_faults(refusal, form)
        return _answer(request, loaded, form, _shown(plan, form), status=422)
    done = "planned, and what it needs is held for it" if reserving else "planned"
    messages.success(request, f"Batch {batch.code} is {done}.")
    return see_other(request, "batch-page", batch.code)


def _asked(request: HttpRequest, code: str, given: Any) -> tuple[LoadedFormula, ScaleForm]:
    number = given.get("version", "")
    loaded = load_formula(code=code, number=int(number) if _is_number(number) else None)
    is_soap = loaded.soap is not None
    data = given.copy()
    data.setdefault("size", "mold" if is_soap else "batter")
    data.setdefault("on", timezone.localdate().isoformat())
    return loaded, ScaleForm(data, molds=active_molds() if is_soap else [], is_soap=is_soap)


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdecimal() and len(text) < 10


def _planned(loaded: LoadedFormula, form: ScaleForm) -> Plan | None:
    """The plan that is asked for; None when it is refused, and the form then says why."""
    assert form.asked is not None
    try:
        return make_plan(loaded, wish_from(form.asked))
    except Refusal as refusal:
        place_faults(refusal, form, names=NAMES)
        form.is_unsafe = isinstance(refusal, RecipeRefusal)  # type: ignore[attr-defined]
        return None


def _shown(plan: Plan, form: ScaleForm) -> ShownPlan:
    on = form.cleaned_data["on"]
    return show_plan(plan, check_shelf(plan.needs, plan.materials, on=on), on=on)


def _answer(
    request: HttpRequest,
    loaded: LoadedFormula,
    form: ScaleForm,
    shown: ShownPlan | None,
    *,
    status: int = 200,
) -> HttpResponse:
    context = {
        "recipe": loaded.version.formula,
        "version": loaded.version,
        "form": form,
        "shown": shown,
        "asked": form.data.urlencode() if shown and hasattr(form.data, "urlencode") else "",
    }
    return render(request, "recipes/scaling/scale.html", context, status=status)
