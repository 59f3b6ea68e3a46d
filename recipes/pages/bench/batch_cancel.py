"""Calling a batch off: the page says what will happen first."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse

from recipes.models.bench.batches import Batch, BatchState
from recipes.queries.bench.batches import batch_by_code
from recipes.queries.bench.weighings import standing_weighings
from recipes.queries.cure.batch_history import making_for
from recipes.services.bench.batches import cancel_batch
from recipes.services.bench.needs import batch_rows, held_lots
from recipes.services.levels.multilevel import cancel_tree
from studio.foundation.errors import Refusal
from studio.foundation.roles import Capability
from studio.web.pages.forms import form_page, place_faults, see_other
from studio.web.pages.ruled import page
from studio.web.pages.stock_pages import stock_page

OPEN = (BatchState.PLANNED, BatchState.RESERVED)


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


@page(Capability.PLAN)
@stock_page
def cancel_page(request: HttpRequest, code: str) -> HttpResponse:
    """Say what calling a batch off does, and do it."""
    batch = batch_by_code(code)
    if request.method != "POST" and batch.state not in OPEN:
        return see_other(request, "batch-page", code)
    form = CancelForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            gone = _call_off(code, form.cleaned_data, by=request.user)
        except Refusal as refusal:
            place_faults(refusal, form)
        else:
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
