"""Writing a recipe: its first version, its next one, and a version that no batch has used."""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from inventory.queries.catalog.materials import material_choices
from recipes.models.formulas.formulas import Formula, FormulaKind
from recipes.pages.formulas.draft import draft_of, spec_of, written_as
from recipes.pages.formulas.forms import Catalog, RecipeForm, Written
from recipes.queries.formulas.formulas import fingerprint_of, formula_by_code, load_formula
from recipes.services.formulas.formulas import add_version, rewrite_version, write_formula
from studio.foundation.errors import Refusal
from studio.foundation.roles import Capability
from studio.models import ChangedMeanwhile, Unchanged
from studio.web.pages.forms import form_page, place_faults, see_other
from studio.web.pages.ruled import page, who

#: Two fats to begin with; the lye as it is usual (common practice, no source).
START = {"version": {"superfat": "5 %", "lye_concentration": "33 %", "cure_days": 28}}


@page(Capability.PLAN)
def recipe_new(request: HttpRequest) -> HttpResponse:
    """Write a recipe from nothing."""
    catalog = Catalog(material_choices())
    data = request.POST if request.method == "POST" else None
    form = RecipeForm(data)
    written = Written(catalog, data, START | {"version": START["version"] | _usual(catalog)})
    context = {"head": form, "heading": "A new recipe", "kind": form["kind"].value()}
    if data is not None and all([form.is_valid(), written.is_valid()]):
        named = form.cleaned_data
        try:
            kind = FormulaKind(named["kind"])
            formula = write_formula(
                code=named["code"],
                name=named["name"],
                kind=kind,
                spec=spec_of(written, soap=kind == FormulaKind.SOAP),
                by=who(request),
            )
        except Refusal as refusal:
            _place(refusal, form, written)
        else:
            messages.success(request, f"{formula.name} is written. Scale it to a mold next.")
            return see_other(request, "recipe-page", formula.code)
    return _answer(request, written, context)


@page(Capability.PLAN)
def version_new(request: HttpRequest, code: str, number: int) -> HttpResponse:
    """Write the next version of a recipe, from one that is there."""
    loaded = load_formula(code=code, number=number)
    formula = loaded.version.formula
    data = request.POST if request.method == "POST" else None
    written = Written(Catalog(material_choices()), data, written_as(loaded))
    if data is not None and written.is_valid():
        try:
            made = _store(formula, written, by=request.user)
        except Refusal as refusal:
            _place(refusal, None, written)
        else:
            told = "a trial until you make it current"
            messages.success(request, f"Version {made.number} is written: {told}.")
            return see_other(request, "recipe-page", code, query={"version": str(made.number)})
    heading = f"The next version of {formula.name}"
    return _answer(request, written, {"heading": heading, "loaded": loaded, "kind": formula.kind})


@page(Capability.PLAN)
def version_first(request: HttpRequest, code: str) -> HttpResponse:
    """Write the first version of a recipe that has only its name."""
    formula = formula_by_code(code)
    catalog = Catalog(material_choices())
    data = request.POST if request.method == "POST" else None
    written = Written(catalog, data, {"version": START["version"] | _usual(catalog)})
    if data is not None and written.is_valid():
        try:
            made = _store(formula, written, by=request.user)
        except Refusal as refusal:
            _place(refusal, None, written)
        else:
            messages.success(request, f"Version {made.number} is written.")
            return see_other(request, "recipe-page", code)
    context = {"heading": f"What goes into {formula.name}", "formula": formula}
    return _answer(request, written, context | {"kind": formula.kind})


@page(Capability.PLAN)
def version_edit(request: HttpRequest, code: str, number: int) -> HttpResponse:
    """Change a version that no batch has used; a frozen one leads to writing the next."""
    loaded = load_formula(code=code, number=number)
    if loaded.version.frozen_at is not None and request.method != "POST":
        messages.warning(request, f"Version {number} is frozen: a batch used it.")
        return see_other(request, "version-new", code, number)
    data = request.POST if request.method == "POST" else None
    written = Written(Catalog(material_choices()), data, written_as(loaded))
    if data is not None and written.is_valid():
        try:
            rewrite_version(
                loaded.version,
                spec_of(written, soap=loaded.soap is not None),
                unchanged=_as_seen(data.get("seen", "")),
                by=who(request),
            )
        except Refusal as refusal:
            _place(refusal, None, written)
        else:
            messages.success(request, f"Version {number} is changed.")
            return see_other(request, "recipe-page", code, query={"version": str(number)})
    formula = loaded.version.formula
    context = {"heading": f"Change version {number} of {formula.name}", "loaded": loaded}
    seen = data.get("seen", "") if data is not None else fingerprint_of(loaded)
    return _answer(request, written, context | {"kind": formula.kind, "seen": seen})


@page(Capability.PLAN, methods=("POST",))
def recipe_draft(request: HttpRequest) -> HttpResponse:
    """The totals and refusals of what is written so far, as a fragment; nothing is stored."""
    written = Written(Catalog(material_choices()), request.POST)
    soap = request.POST.get("kind") != FormulaKind.BLEND.value
    draft = draft_of(written, soap=soap)
    context = {"draft": draft, "written": written, "oob": True}
    return render(request, "recipes/formulas/_totals.html", context)


def _usual(catalog: Catalog) -> dict[str, str]:
    """The alkali and water, where the studio keeps just one of each."""
    found = {
        "naoh": [
            one.code for one in catalog.choices if one.alkali == "NaOH" and one.kind == "alkali"
        ],
        "water": [one.code for one in catalog.choices if one.water_share == 1],
    }
    return {name: codes[0] for name, codes in found.items() if len(codes) == 1}


def _store(formula: Formula, written: Written, *, by: Any) -> Any:
    soap = formula.kind == FormulaKind.SOAP
    return add_version(formula, spec_of(written, soap=soap), by=by)


def _as_seen(seen: str) -> Unchanged:
    def unchanged(version: Any) -> None:
        if version.revision != seen:
            raise ChangedMeanwhile(
                "Somebody else saved this version after you opened it. What you typed is still "
                "here: open the recipe in a second window and compare."
            )

    return unchanged


def _place(refusal: Refusal, head: RecipeForm | None, written: Written) -> None:
    """Faults of name and code stand above, all others with the version and its rows."""
    own = head.fields if head is not None else {}
    for fault in refusal.faults:
        one = type(refusal)(faults=[fault])
        form: Any = head if fault.field in own else written.version
        place_faults(one, form, rows=written.rows)


def _answer(request: HttpRequest, written: Written, context: dict[str, Any]) -> HttpResponse:
    if request.method == "POST":
        soap = context["kind"] != FormulaKind.BLEND.value
        draft = draft_of(Written(written.catalog, request.POST), soap=soap)
        context = {**context, "draft": draft}
    return form_page(request, "recipes/formulas/edit.html", {**context, "written": written})
