"""Before the lye step opens, its cautions are read and confirmed: for one batch, by one person,
for one day. The confirmation is kept in the session, so it survives a reload."""

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from recipes.models.bench.batches import Batch
from recipes.pages.bench.form import TYPED, bench_script
from recipes.queries.bench.batches import batch_by_code
from recipes.services.bench.shelf import cautions_of, to_confirm
from studio.foundation.roles import Capability
from studio.web.pages.forms import see_other
from studio.web.pages.ruled import page, who

_KEPT = "lye-cautions"
#: What was typed may wait here while the cautions are read.
CARRIED = ("line", "view", *TYPED)


class ConfirmForm(forms.Form):
    """Every point is ticked; one that is not is named."""

    ready = forms.MultipleChoiceField(
        label="Tick what applies", widget=forms.CheckboxSelectMultiple, required=False
    )

    def __init__(self, data: Any, *, batch: Batch) -> None:
        super().__init__(data)
        points = [(caution.code, caution.text) for caution in to_confirm(batch)]
        self.fields["ready"].choices = points  # type: ignore[attr-defined]

    def clean_ready(self) -> list[str]:
        """The lye step opens with all of them."""
        ticked: list[str] = self.cleaned_data["ready"]
        points = self.fields["ready"].choices  # type: ignore[attr-defined]
        missing = sum(code not in ticked for code, _ in points)
        if missing:
            raise forms.ValidationError(
                f"Not ticked yet: {missing} of {len(points)}. The lye step opens when all is so."
            )
        return ticked


def is_confirmed(request: HttpRequest, code: str) -> bool:
    """Whether this person confirmed the cautions of this batch today."""
    return _confirmations(request).get(code) is not None


def _confirmations(request: HttpRequest) -> dict[str, list[Any]]:
    """Those of this person and this day, by batch; all others count no more."""
    own = [who(request).pk, timezone.localdate().isoformat()]
    kept = request.session.get(_KEPT, {})
    return {code: mark for code, mark in kept.items() if mark == own}


@page(Capability.MAKE)
def cautions_page(request: HttpRequest, code: str) -> HttpResponse:
    """The cautions of the lye step, to read and to confirm."""
    batch = batch_by_code(code)
    carried = carried_from(request.POST or request.GET)
    form = ConfirmForm(request.POST or None, batch=batch)
    if request.method == "POST":
        form = ConfirmForm(request.POST, batch=batch)
        if form.is_valid():
            own = [who(request).pk, timezone.localdate().isoformat()]
            request.session[_KEPT] = {**_confirmations(request), code: own}
            return see_other(request, "bench-page", code, query=carried)
        return cautions_answer(request, batch, form=form, carried=carried, status=422)
    return cautions_answer(request, batch, form=form, carried=carried)


def cautions_answer(
    request: HttpRequest,
    batch: Batch,
    *,
    form: ConfirmForm | None = None,
    carried: dict[str, str],
    name: str = "",
    status: int = 200,
) -> HttpResponse:
    """The page that stands before the lye step; `name` is the line that it keeps closed."""
    context = {
        "batch": batch,
        "form": form or ConfirmForm(None, batch=batch),
        "cautions": cautions_of(batch),
        "carried": carried,
        "name": name,
        "script": bench_script(batch.code, who(request).pk),
        "is_refused": status == 409,
    }
    return render(request, "recipes/bench/cautions.html", context, status=status)


def carried_from(given: Any) -> dict[str, str]:
    """Of what was asked or sent, that which comes back once the lye step is open."""
    return {name: given[name][:64] for name in CARRIED if given.get(name)}
