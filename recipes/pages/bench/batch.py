"""The page of a batch: what comes next and when, what it holds, and its verbs as buttons."""

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from recipes.models.bench.batches import Batch
from recipes.pages.bench.shown_batch import show_batch
from recipes.queries.bench.batch_list import due_on
from recipes.queries.bench.batches import batch_by_code
from recipes.services.bench.batches import unreserve_batch
from recipes.services.levels.multilevel import reserve_planned
from studio.foundation.errors import Refusal
from studio.foundation.roles import Capability
from studio.web.pages.forms import place_faults, see_other
from studio.web.pages.ruled import page
from studio.web.pages.stock_pages import stock_page


class ReserveForm(forms.Form):
    """How a batch is reserved."""

    reset_lye = forms.BooleanField(
        required=False,
        label="Set the lye anew on the lots that are held",
        help_text="Their certificates then decide the weights of alkali and water.",
    )
    expires_on = forms.DateField(
        required=False,
        label="Hold it until",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )


@page(Capability.READ, methods=("GET", "HEAD"))
def batch_page(request: HttpRequest, code: str) -> HttpResponse:
    """A batch, from the plan to released bars."""
    return _answer(request, batch_by_code(code), ReserveForm())


@page(Capability.PLAN, methods=("POST",))
@stock_page
def reserve_page(request: HttpRequest, code: str) -> HttpResponse:
    """Hold all that a batch needs, with what is planned for it, or nothing."""
    form = ReserveForm(request.POST)
    if form.is_valid():
        try:
            reserve_planned(code, **form.cleaned_data, by=request.user)  # type: ignore[arg-type]
        except Refusal as refusal:
            place_faults(refusal, form)
        else:
            messages.success(request, f"What {code} needs is held for it.")
            return see_other(request, "batch-page", code)
    return _answer(request, batch_by_code(code), form, status=422)


@page(Capability.PLAN, methods=("POST",))
@stock_page
def give_back_page(request: HttpRequest, code: str) -> HttpResponse:
    """Give back what a batch holds; it is planned again."""
    form = ReserveForm()
    try:
        unreserve_batch(code, by=request.user)  # type: ignore[arg-type]
    except Refusal as refusal:
        form = ReserveForm({})
        form.full_clean()
        place_faults(refusal, form)
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
