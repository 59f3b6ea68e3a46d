"""What is sold: a recipe's bar, usually made in a certain mold, packed in a certain way."""

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse

from costing.models.bar_cost.packaging import PackagingSet
from costing.models.prices.products import Product
from costing.pages.prices.price_setting import product_by_code
from costing.pages.rules import SET
from costing.services.prices.products import ProductDescription, save_product
from recipes.queries.formulas.newest import active_soaps
from recipes.queries.molds.molds import active_molds
from studio.foundation.model_fields import CodeField
from studio.web.pages.forms import form_page, saved_by, see_other, unchanged_since
from studio.web.pages.ruled import page, who


class ProductForm(forms.Form):
    """All that is kept of a product."""

    name = forms.CharField(max_length=120, label="Name", help_text="As it stands on letters.")
    code = forms.SlugField(
        required=False, max_length=40, label="Code", help_text="Left empty, it is made of the name."
    )
    formula = forms.ChoiceField(label="Bars of")
    mold = forms.ChoiceField(label="Usually made in")
    packaging_set = forms.ChoiceField(required=False, label="Packed as")
    active = forms.BooleanField(required=False, initial=True, label="Is sold")
    note = forms.CharField(
        required=False, max_length=2000, label="Note", widget=forms.Textarea(attrs={"rows": 2})
    )

    def __init__(self, *args: Any, kept: Product | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        recipes = {one.code: one.name for one in active_soaps()}
        molds = {one.code: one.name for one in active_molds()}
        packings = dict(PackagingSet.objects.order_by("name").values_list("code", "name"))
        if kept is not None:
            # Its bars are what its prices and orders are of.
            recipes, molds = (
                {kept.formula.code: kept.formula.name},
                {kept.mold.code: kept.mold.name, **molds},
            )
            del self.fields["code"]
        else:
            recipes = {"": "Choose a recipe", **recipes}
            molds = {"": "Choose a mold", **molds}
        choices = {"formula": recipes, "mold": molds, "packaging_set": {"": "Nothing", **packings}}
        for name, rows in choices.items():
            self.fields[name].choices = list(rows.items())  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if "code" in self.fields and "code" not in self.errors and given.get("name"):
            given["code"] = given.get("code") or CodeField.made_from(given["name"])
            if not given["code"]:
                self.add_error("code", "Write another code of letters, digits and hyphens.")
        return given


@page(SET)
def product_new(request: HttpRequest) -> HttpResponse:
    """Begin to sell a bar."""
    return _edit(request, None)


@page(SET)
def product_edit(request: HttpRequest, code: str) -> HttpResponse:
    """Change what is kept of a product."""
    return _edit(request, product_by_code(code))


def _edit(request: HttpRequest, kept: Product | None) -> HttpResponse:
    form = ProductForm(request.POST or None, kept=kept, initial=_initial(request, kept))
    saved = saved_by(request, form, lambda: _save(request, form.cleaned_data, kept))
    if saved is not None:
        return see_other(request, "product-page", saved.code)
    return form_page(request, "costing/prices/product_edit.html", {"form": form, "product": kept})


def _initial(request: HttpRequest, kept: Product | None) -> dict[str, Any]:
    if kept is None:
        return {"formula": request.GET.get("recipe", "")}
    known = {name: getattr(kept, name) for name in ("name", "active", "note")}
    parts = {name: getattr(kept, name) for name in ("formula", "mold", "packaging_set")}
    return {**known, **{name: part.code if part else "" for name, part in parts.items()}}


def _save(request: HttpRequest, given: dict[str, Any], kept: Product | None) -> Product:
    values = {**given, "packaging_set": given["packaging_set"] or None}
    if kept is not None:
        values["code"] = kept.code
    return save_product(
        ProductDescription(**values),
        product_id=None if kept is None else kept.pk,
        unchanged=unchanged_since(request),
        by=who(request),
    )
