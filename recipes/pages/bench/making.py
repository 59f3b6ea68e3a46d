"""After the weighing: what is told of pour, cut, cure and release, and which step is next."""

from datetime import date
from typing import Any

from django import forms
from django.core.validators import MaxValueValidator, MinValueValidator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from recipes.domain.weighing import MOST_BARS
from recipes.models.bench.batches import Batch, BatchState
from recipes.pages.bench.worst import AcceptsWorst
from recipes.services.cure.cure import HEAVIEST
from recipes.services.cure.mass_at_cut import LONGEST_REASON
from recipes.services.formulas.version_check import MOST_MINUTES
from studio.foundation.units.conversion import mass_ng, temperature_c
from studio.foundation.units.registry import Dimension
from studio.web.form_fields import DayFormField, QuantityFormField, ShareFormField
from studio.web.pages.forms import OptionalRows

LONGEST_NOTE = 4000
#: No studio keeps books outside of these; it also catches a year typed wrong.
FIRST_DAY, LAST_DAY = date(2000, 1, 1), date(2199, 12, 31)
#: By the state a batch is in: what there is to say, the page that is next, and its verb.
_NEXT = {
    BatchState.PLANNED: ("It is planned only: reserve what it needs first.", "batch-page", "Look"),
    BatchState.RESERVED: ("It is not poured yet.", "bench-page", "Weigh and pour"),
    BatchState.POURED: ("It is in its mold.", "cut-page", "Cut"),
    BatchState.CUT: ("It is cut, and its bars cure.", "cure-page", "Look at the cure"),
    BatchState.CURED: ("It is done.", "batch-page", "Look"),
    BatchState.CANCELLED: ("It was called off.", "batch-page", "Look"),
}


def day_field(label: str) -> forms.DateField:
    """A day, today unless another is chosen."""
    return DayFormField(
        label=label,
        initial=timezone.localdate,
        validators=[
            MinValueValidator(FIRST_DAY, f"A day from {FIRST_DAY} on."),
            MaxValueValidator(LAST_DAY, f"A day until {LAST_DAY}."),
        ],
    )


def minutes_field(label: str, *, help_text: str = "", most: int = MOST_MINUTES) -> Any:
    """Whole minutes."""
    return forms.IntegerField(
        required=False,
        min_value=0,
        max_value=most,
        label=label,
        help_text=help_text,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )


def labor_field(of: str = "") -> Any:
    """Minutes of a step's labor; none told is not 0."""
    told = f"{of} Empty: not told, which is not 0.".strip()
    return minutes_field("Minutes of labor", help_text=told)


def temperature_field(label: str) -> QuantityFormField:
    """Degrees Celsius or Fahrenheit, with the unit; cleans to Celsius."""
    return QuantityFormField(
        dimensions=[Dimension.TEMPERATURE],
        stored=temperature_c,  # type: ignore[arg-type]
        required=False,
        label=label,
    )


def weight_field(label: str, *, help_text: str = "", required: bool = False) -> QuantityFormField:
    """A weight in any unit; cleans to ng."""
    return QuantityFormField(
        dimensions=[Dimension.MASS],
        stored=mass_ng,
        unit="g",
        required=required,
        label=label,
        help_text=help_text,
    )


def note_field() -> forms.CharField:
    """Free words, kept with the batch."""
    return forms.CharField(
        required=False,
        max_length=LONGEST_NOTE,
        label="Note",
        widget=forms.Textarea(attrs={"rows": 2}),
    )


class _Kept(forms.Form):
    """What was kept at the bench stands in the form; emptying a field does not take it back."""

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        for name, kept in self.initial.items():
            if kept not in (None, "") and not self[name].data and name not in self.errors:
                self.add_error(name, "It was kept at the bench: write what it was.")
        return given


class PourForm(AcceptsWorst, _Kept):
    """What is kept of the pour of soap; what stays empty is not known."""

    on = day_field("Poured on")
    oil_temperature = temperature_field("Fats")
    lye_temperature = temperature_field("Lye")
    poured_temperature = temperature_field("Batter")
    trace_minutes = minutes_field(
        "Minutes to trace", help_text="From the first stirring.", most=24 * 60
    )
    poured = weight_field(
        "Weight of the batter", help_text="Empty: all that was weighed, together."
    )
    minutes = labor_field("Weighing, mixing and pouring.")
    note = note_field()


class MixForm(_Kept):
    """What is kept of a masterbatch, an infusion or a blend once it is mixed."""

    on = day_field("Mixed on")
    poured = weight_field("What it weighs", help_text="Empty: all that was weighed, together.")
    minutes = labor_field()
    note = note_field()


def _bars(label: str, **values: Any) -> forms.IntegerField:
    return forms.IntegerField(
        min_value=0,
        max_value=MOST_BARS,
        label=label,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
        **values,
    )


class CutForm(forms.Form):
    """The cut: bars, and weights where they were taken."""

    on = day_field("Cut on")
    bars_good = _bars("Good bars")
    bars_rejected = _bars("Rejected bars", required=False)
    bars_rejected_abnormal = _bars(
        "Of the rejects, by an unusual loss",
        required=False,
        help_text="A fall, a power cut. Their cost is an expense at once and not a cost of the "
        "good bars (IAS 2.16(a)).",
    )
    good_weight = weight_field("Weight of the good bars")
    rejected_weight = weight_field("Weight of the rejects")
    ends_weight = weight_field("Weight of the ends")
    keep_ends = forms.BooleanField(
        required=False, label="Keep the ends", help_text="As a lot, for a later batch."
    )
    ends_cost_share = ShareFormField(
        required=False,
        label="Share of the cost on the kept ends",
        help_text="Empty: their part of the weight.",
    )
    reason = forms.CharField(
        required=False,
        max_length=LONGEST_REASON,
        label="Why so much is lost, or bars are so thin or thick",
        help_text="Needed over 10 % of the pour or 25 % off the planned weight; it is kept.",
    )
    minutes = labor_field()
    note = note_field()


class CureDayForm(forms.Form):
    """The day on which sample bars are weighed."""

    on = day_field("Weighed on")


class BarForm(forms.Form):
    """One sample bar."""

    bar = forms.IntegerField(
        min_value=1,
        max_value=10**6,
        label="Bar",
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )
    weight = weight_field("Weighs", required=True)

    def has_changed(self) -> bool:
        """A number alone says nothing: the bar was not weighed."""
        return "weight" in self.changed_data

    def clean_weight(self) -> int:
        """A bar weighs something."""
        weight: int = self.cleaned_data["weight"]
        if not 0 < weight <= HEAVIEST:
            raise forms.ValidationError("A bar weighs more than nothing and at most 100 kg.")
        return weight


class BarRows(OptionalRows):
    """Sample bars of one day, each once; a row without a weight is left out."""

    def clean(self) -> None:
        seen: set[int] = set()
        for form in self.forms:
            bar = form.cleaned_data.get("bar") if form.is_valid() and form.has_changed() else None
            if bar in seen:
                form.add_error("bar", f"Bar {bar} is given twice.")
            if bar is not None:
                seen.add(bar)


class CureDateForm(forms.Form):
    """The date that shall hold, and why."""

    ready_on = forms.DateField(widget=forms.HiddenInput)
    reason = forms.CharField(
        required=False, max_length=1000, label="Why this date", help_text="It stays in the record."
    )


class ReleaseForm(forms.Form):
    """The end of the cure: what was used to pack, and why earlier than the cure allows."""

    on = day_field("Released on")
    early_reason = forms.CharField(
        required=False,
        max_length=1000,
        label="Why before the cure is over",
        help_text="Needed only then; it stays in the record.",
    )
    minutes = labor_field("Wrapping and labeling.")
    note = note_field()


def another_step(request: HttpRequest, batch: Batch, *, step: str) -> HttpResponse:
    """Say where a batch stands and what comes next; nothing is changed. 409 for a POST."""
    words, name, verb = _NEXT[BatchState(batch.state)]
    context = {"batch": batch, "step": step, "words": words, "next": name, "verb": verb}
    status = 409 if request.method == "POST" else 200
    return render(request, "recipes/bench/another_step.html", context, status=status)
