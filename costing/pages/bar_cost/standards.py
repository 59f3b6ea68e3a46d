"""Labor standards: how long a batch and a bar are expected to take, and since when."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from costing.models.bar_cost.conversion import LaborStandard
from costing.pages.dated import LOOK, SET, from_day, to_be_replaced, whole
from costing.queries.rates.set_up import standards_by_recipe
from costing.services.bar_cost.labor_standards import (
    LONGEST_SECONDS,
    MOST_ENERGY_WH,
    StandardDescription,
    save_standard,
)
from recipes.domain.weighing import MOST_BARS
from recipes.queries.formulas.listed import active_soaps
from recipes.services.formulas.version_check import MOST_MINUTES
from studio.web.pages.forms import faults_on, form_page, see_other
from studio.web.pages.ruled import GET, page, who


class StandardForm(forms.Form):
    """What a batch is expected to take from a day on."""

    formula = forms.ChoiceField(required=False, label="Recipe")
    effective_from = from_day()
    mix_minutes = whole("Weighing and mixing, minutes a batch", most=MOST_MINUTES)
    mix_seconds_per_bar = whole("Weighing and mixing, seconds a bar", most=LONGEST_SECONDS)
    cut_minutes = whole("Cutting, minutes a batch", most=MOST_MINUTES)
    cut_seconds_per_bar = whole("Cutting, seconds a bar", most=LONGEST_SECONDS)
    wrap_minutes = whole("Wrapping, minutes a batch", most=MOST_MINUTES)
    wrap_seconds_per_bar = whole("Wrapping, seconds a bar", most=LONGEST_SECONDS)
    energy_wh = whole("Energy, watt-hours a batch", most=MOST_ENERGY_WH)
    bars_per_rack = whole(
        "Bars on a rack", most=MOST_BARS, least=1, help_text="Empty: all on one rack."
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["formula"].choices = [  # type: ignore[attr-defined]
            ("", "Any recipe without its own"),
            *((formula.code, formula.name) for formula in active_soaps()),
        ]


@page(LOOK, methods=GET)
def standards_page(request: HttpRequest) -> HttpResponse:
    """The standard of each recipe now, to come, and before."""
    found = standards_by_recipe(on=timezone.localdate())
    replaced = [one for dated in found for one in dated.earlier]
    return render(
        request, "costing/bar_cost/standards.html", {"found": found, "replaced": replaced}
    )


@page(SET)
def standard_new(request: HttpRequest) -> HttpResponse:
    """Let a standard hold from a day on; one of the same day to come is replaced."""
    form = StandardForm(request.POST or None, initial={"formula": request.GET.get("recipe", "")})
    if request.method == "POST" and form.is_valid():
        with faults_on(form):
            _save(request, form.cleaned_data)
            day = form.cleaned_data["effective_from"]
            messages.success(request, f"The standard holds from {day} on.")
            return see_other(request, "standards-page")
    return form_page(request, "costing/bar_cost/standard_new.html", {"form": form})


def _save(request: HttpRequest, given: dict[str, Any]) -> LaborStandard:
    code, rack = given["formula"] or None, given["bars_per_rack"]
    numbers = {name: value for name, value in given.items() if name not in _NO_NUMBERS}
    numbers["energy_wh"] = numbers["energy_wh"] or 0
    described = StandardDescription(
        formula=code, effective_from=given["effective_from"], bars_per_rack=rack, **numbers
    )
    there = LaborStandard.objects.filter(formula__code=code)
    again = to_be_replaced(there, effective_from=given["effective_from"])
    return save_standard(described, row_id=again, by=who(request))


_NO_NUMBERS = {"formula", "effective_from", "bars_per_rack"}
