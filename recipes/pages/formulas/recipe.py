"""The list of recipes, the page of one, what is kept beside its versions, and two side by side."""

from itertools import groupby
from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from recipes.domain.formulas.amount_words import STAGES, said_amount
from recipes.domain.formulas.formula import Basis, Stage
from recipes.models.formulas.formulas import Formula, FormulaKind
from recipes.pages.bench.making import weight_field
from recipes.pages.formulas.draft import acids_chart
from recipes.pages.formulas.worst import worst_shown
from recipes.queries.formulas.differences import line_differences, setting_differences
from recipes.queries.formulas.formulas import (
    LoadedFormula,
    formula_by_code,
    load_formula,
    version_by_number,
)
from recipes.queries.formulas.listed import formulas_listed, latest_batches, versions_of
from recipes.services.formulas.fats_profile import summary_of
from recipes.services.formulas.formulas import change_formula, make_current
from studio.foundation.errors import NotFound, Refusal
from studio.foundation.histories import kept_rows
from studio.foundation.roles import Capability
from studio.web.pages.forms import form_page, saved_by, see_other, unchanged_since
from studio.web.pages.histories import history_page
from studio.web.pages.lists import list_page
from studio.web.pages.places import page_address
from studio.web.pages.ruled import GET, page, who

MOST_BATCHES = 12
#: In which order the stages come at the bench.
_ORDER = list(Stage)


@page(Capability.READ, methods=GET)
def recipe_page(request: HttpRequest, code: str) -> HttpResponse:
    """A recipe: the current version, or the one that the address names with ?version=."""
    versions: list[Any] = list(versions_of(code))
    if not versions:
        return render(request, "recipes/formulas/recipe.html", {"recipe": formula_by_code(code)})
    asked = request.GET.get("version", "")
    number = int(asked) if asked.isascii() and asked.isdecimal() and len(asked) < 10 else None
    loaded = load_formula(code=code, number=number)
    made = [version for version in versions if version.last_made]
    context = {
        "worst": worst_shown(loaded),
        "recipe": loaded.version.formula,
        "version": loaded.version,
        "current": next((one.number for one in versions if one.is_current), None),
        "was_made_current_by": _current_by(loaded),
        "versions": versions,
        "before": _before(versions, loaded.version.number),
        "last_made": max((version.last_made for version in made), default=None),
        "batches": latest_batches(code, most=MOST_BATCHES),
    }
    return render(request, "recipes/formulas/recipe.html", context | _content(loaded))


@page(Capability.READ, methods=GET)
def recipe_history_page(request: HttpRequest, code: str) -> HttpResponse:
    """What was changed of a recipe and of what goes into it."""
    kept = formula_by_code(code)
    back = page_address("recipe-page", code)
    return history_page(request, kept_rows(Formula, id=kept.pk), of=kept.name, back=back)


def _current_by(loaded: LoadedFormula) -> Any:
    """Who made the version that is shown the current one; None where another is current."""
    version = loaded.version
    return version.formula.current_by if version.is_current else None


@page(Capability.PLAN, methods=("POST",))
def make_current_page(request: HttpRequest, code: str, number: int) -> HttpResponse:
    """Let products, orders, costs and plans follow a version from now on."""
    version = version_by_number(code, number)
    try:
        make_current(version, unchanged=unchanged_since(request), by=who(request))
    except Refusal as refusal:
        messages.error(request, str(refusal))
    else:
        told = "products, new batches, orders and costs follow it from now on"
        messages.success(request, f"Version {number} is current: {told}.")
    return see_other(request, "recipe-page", code, query={"version": str(number)})


def _before(versions: list[Any], number: int) -> int | None:
    return next((one.number for one in versions if one.number < number), None)


def _content(loaded: LoadedFormula) -> dict[str, Any]:
    is_soap = loaded.version.formula.kind == FormulaKind.SOAP
    fats = summary_of(loaded.rows) if is_soap else None
    return {
        "is_soap": is_soap,
        "stages": stages_of(loaded),
        "fats": fats,
        "chart": acids_chart(fats, prefix="acids") if fats else None,
        "portions": loaded.soap.portions if loaded.soap else (),
        "layers": loaded.layers,
    }


def stages_of(loaded: LoadedFormula) -> list[tuple[str, list[dict[str, Any]]]]:
    """The lines by stage, each with its amount in words."""
    rows = sorted(loaded.rows, key=lambda row: (_ORDER.index(Stage(row.stage)), row.position))
    soap = loaded.soap is not None
    return [
        (
            STAGES[Stage(stage)].capitalize() if soap else "What goes in",
            [
                {
                    "row": row,
                    "said": said_amount(row.amount, Basis(row.basis), counted=row.material.counted),
                }
                for row in lines
            ],
        )
        for stage, lines in groupby(rows, key=lambda row: row.stage)
    ]


class RecipeFilter(forms.Form):
    """What is looked for among the recipes."""

    q = forms.CharField(required=False, max_length=100, label="Name or code")
    old = forms.BooleanField(required=False, label="With those no longer in use")


@page(Capability.READ, methods=GET)
def recipe_list(request: HttpRequest) -> HttpResponse:
    """All recipes by name, with when each was last made."""
    form = RecipeFilter(request.GET or None)
    rows = list_page(request, _found(form), order=("name", "id"), filters=form)
    return render(request, "recipes/formulas/recipes.html", {"rows": rows})


def _found(form: RecipeFilter) -> "QuerySet[Formula]":
    given = form.cleaned_data if form.is_valid() else {}
    found = formulas_listed()
    if not given.get("old"):
        found = found.filter(active=True)
    if given.get("q"):
        found = found.filter(Q(name__icontains=given["q"]) | Q(code__icontains=given["q"]))
    return found


class RecipeForm(forms.Form):
    """A recipe by name; what goes in stands in its versions."""

    name = forms.CharField(max_length=120, label="Name")
    least_make = weight_field(
        "The least that is made at once", help_text="Where a plan asks for less; empty: any amount."
    )
    active = forms.BooleanField(
        required=False,
        label="Is made",
        help_text="Off, it is no longer offered; batches and bars of it stay.",
    )
    note = forms.CharField(
        required=False, max_length=4000, label="Note", widget=forms.Textarea(attrs={"rows": 3})
    )

    def __init__(self, *args: Any, kind: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if kind == FormulaKind.SOAP:
            del self.fields["least_make"]


@page(Capability.PLAN)
def recipe_settings(request: HttpRequest, code: str) -> HttpResponse:
    """Rename a recipe, note something of it, or take it out of use."""
    kept = formula_by_code(code)
    initial = {name: getattr(kept, name) for name in ("name", "least_make", "active", "note")}
    form = RecipeForm(request.POST or None, initial=initial, kind=kept.kind)
    saved = saved_by(request, form, lambda: _save(request, form.cleaned_data, kept))
    if saved is not None:
        return see_other(request, "recipe-page", code)
    return form_page(request, "recipes/formulas/settings.html", {"form": form, "recipe": kept})


def _save(request: HttpRequest, given: dict[str, Any], kept: Formula) -> Formula:
    values = {"least_make": None, **given}
    return change_formula(kept, unchanged=unchanged_since(request), by=who(request), **values)


@page(Capability.READ, methods=GET)
def differences_page(request: HttpRequest, code: str) -> HttpResponse:
    """What differs between the versions ?before= and ?after=; the two newest without them."""
    versions = list(versions_of(code))
    numbers = [version.number for version in versions]
    if not numbers:
        raise NotFound(f"There is no version of {code}.")
    after = _asked(request, "after") or numbers[0]
    earlier = [number for number in numbers if number < after]
    before = _asked(request, "before") or (earlier[0] if earlier else after)
    old, new = (load_formula(code=code, number=number) for number in (before, after))
    lines = line_differences(old.rows, new.rows)
    settings = setting_differences(old, new)
    changed = [one for one in (*lines, *settings) if one.word != "the same"]
    context = {
        "recipe": new.version.formula,
        "versions": sorted(numbers),
        "before": old.version,
        "after": new.version,
        "lines": lines,
        "settings": [one for one in settings if one.word != "the same"],
        "changed": len(changed),
    }
    return render(request, "recipes/formulas/differences.html", context)


def _asked(request: HttpRequest, name: str) -> int | None:
    text = request.GET.get(name, "")
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 10 else None
