"""The pour of soap or the mixing of a blend, and what is read at the bench before it."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse

from recipes.models.bench.batches import Batch, BatchState
from recipes.pages.bench.batch import ShownBatch, show_batch
from recipes.pages.bench.making import MixForm, PourForm, another_step, temperature_field
from recipes.pages.bench.worst import asking_worst
from recipes.queries.bench.batches import batch_by_code
from recipes.services.bench.actuals import LONGEST_TRACE, BenchRecord, record_bench
from recipes.services.bench.pouring import Poured, PouredBatch, pour_batch
from recipes.services.bench.shelf import cautions_of
from studio.foundation.roles import Capability
from studio.web.pages.forms import faults_on, form_page, see_other
from studio.web.pages.frame import preferences_of
from studio.web.pages.ruled import page, who
from studio.web.pages.writing import written_temperature


@page(Capability.MAKE, once=True)
def pour_page(request: HttpRequest, code: str) -> HttpResponse:
    """What was weighed and what that makes; then the pour, which cannot be taken back."""
    batch = batch_by_code(code)
    if batch.state != BatchState.RESERVED:
        return another_step(request, batch, step="Pour" if batch.fats else "Mix")
    form = _form(request, batch)
    if request.method == "POST" and form.is_valid():
        with faults_on(form, names={"output": "poured"}), asking_worst(form):
            made = _pour(request, code, form.cleaned_data)
            _tell(request, made)
            return see_other(request, "batch-page", code)
    return form_page(request, "recipes/bench/pour.html", _context(show_batch(batch), form))


def _form(request: HttpRequest, batch: Batch) -> forms.Form:
    kept: dict[str, Any] = {"poured": batch.poured_mass}
    if not batch.fats:
        return MixForm(request.POST or None, initial=kept)
    units = preferences_of(request.user).units
    for name in ("oil_temperature", "lye_temperature", "poured_temperature"):
        kept[name] = written_temperature(getattr(batch, f"{name}_c"), units)
    kept["trace_minutes"] = batch.trace_minutes
    return PourForm(request.POST or None, initial=kept)


def _pour(request: HttpRequest, code: str, given: dict[str, Any]) -> PouredBatch:
    record = BenchRecord(
        oil_temperature_c=given.get("oil_temperature"),
        lye_temperature_c=given.get("lye_temperature"),
        poured_temperature_c=given.get("poured_temperature"),
        trace_minutes=given.get("trace_minutes"),
        poured_mass=given["poured"],
    )
    record_bench(code, record, by=who(request))
    poured = Poured(
        on=given["on"],
        minutes=given["minutes"],
        note=given["note"],
        accept_worst=given.get("accept_worst"),
    )
    return pour_batch(code, poured, by=who(request))


def _tell(request: HttpRequest, made: PouredBatch) -> None:
    code, lot = made.batch.code, made.lot
    if made.batch.fats and lot.state == "blocked":
        messages.error(request, f"{code} is poured, and its soap is blocked: {lot.state_reason}")
    elif not made.batch.fats:
        messages.success(request, f"{code} is mixed: lot {lot.code}.")
    else:
        messages.success(request, f"{code} is poured. Cut it once it is firm.")


def _context(shown: ShownBatch, form: forms.Form) -> dict[str, Any]:
    lines = [line for line in shown.actuals.lines if not line.row.is_packing]
    return {
        "batch": shown.batch,
        "shown": shown,
        "form": form,
        "lines": lines,
        "unweighed": [line for line in lines if line.actual is None],
        "outside": [line for line in lines if line.deviation and line.deviation.is_outside],
    }


class RecordForm(forms.Form):
    """What was read and seen; what stays empty stays as it was."""

    oil_temperature = temperature_field("Oils, before the lye went in")
    lye_temperature = temperature_field("Lye, before it went in")
    trace_minutes = forms.IntegerField(
        required=False,
        min_value=0,
        max_value=LONGEST_TRACE,
        label="Minutes from the first stirring to trace",
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    note = forms.CharField(
        required=False,
        max_length=1000,
        label="Note",
        help_text="It is added to the notes of the batch.",
        widget=forms.Textarea(attrs={"rows": 3}),
    )


@page(Capability.MAKE, once=True)
def record_page(request: HttpRequest, code: str) -> HttpResponse:
    """Keep what was read and seen at the bench, from the reservation until the cut."""
    batch = batch_by_code(code)
    form = RecordForm(request.POST or None, initial=_initial(request, batch))
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        record = BenchRecord(
            oil_temperature_c=given["oil_temperature"],
            lye_temperature_c=given["lye_temperature"],
            trace_minutes=given["trace_minutes"],
            note=given["note"].strip(),
        )
        with faults_on(form):
            record_bench(code, record, by=who(request))
            messages.success(request, "Temperatures, trace and notes are kept.")
            return see_other(request, "bench-page", code)
    context = {"batch": batch, "form": form, "cautions": cautions_of(batch)}
    return form_page(request, "recipes/bench/record.html", context)


def _initial(request: HttpRequest, batch: Batch) -> dict[str, Any]:
    units = preferences_of(request.user).units
    return {
        "oil_temperature": written_temperature(batch.oil_temperature_c, units),
        "lye_temperature": written_temperature(batch.lye_temperature_c, units),
        "trace_minutes": batch.trace_minutes,
    }
