"""What is kept of a recipe beside its versions: its name, a note, whether it is still made."""

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse

from recipes.models.formulas.formulas import Formula, FormulaKind
from recipes.pages.bench.making_forms import weight_field
from recipes.queries.formulas.formulas import formula_by_code
from recipes.services.formulas.formulas import change_formula
from studio.foundation.roles import Capability
from studio.web.pages.forms import form_page, saved_by, see_other, unchanged_since
from studio.web.pages.ruled import page, who


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
