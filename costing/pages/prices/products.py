"""A product: what it is, what a bar of it costs and from what, and what is asked for it."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from costing.models.bar_cost.packaging import PackagingEdition, PackagingSet
from costing.models.prices.prices import Product
from costing.pages.dated import LOOK, SET
from costing.pages.drawn import drawn_bar, drawn_batches
from costing.pages.prices.price_setting import product_by_code
from costing.pages.prices.prices import show_ladder
from costing.queries.bar_cost.not_known import NotKnown, lots_not_known
from costing.queries.bar_cost.plans import PlanCosting, costs_of_plan, per_gram_of_plan
from costing.queries.bar_cost.price_basis import PriceBasis
from costing.queries.bar_cost.recipe_costs import MoldSpread, cost_spread
from costing.queries.prices.price_ladder import price_ladder, suggestions_of
from costing.services.prices.products import ProductDescription, save_product
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.formulas.listed import active_soaps
from recipes.queries.molds.molds import active_molds
from recipes.queries.scaling.plans import Plan, Wish, make_plan
from studio.foundation.drawing.canvas import Chart
from studio.foundation.errors import Refusal
from studio.foundation.model_fields import CodeField
from studio.web.pages.forms import form_page, saved_by, see_other, unchanged_since
from studio.web.pages.ruled import GET, page, who

LAST = 12
#: In place of the code of a packaging set; no code has a blank.
NO_PACKING = "no packing"


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownBasis:
    """The cost of a bar on one price basis, packing included."""

    basis: PriceBasis
    name: str
    costing: PlanCosting
    packing: int | None
    is_chosen: bool

    @property
    def per_bar(self) -> int | None:
        """The bar and its packing; None where the plan makes no bars, or it is not known."""
        bar = self.costing.bar
        if bar is None or bar.per_bar is None or self.packing is None:
            return None
        return bar.per_bar + self.packing

    @property
    def at_least(self) -> int | None:
        """What is known of the bar and its packing."""
        bar = self.costing.bar
        return None if bar is None else bar.at_least + (self.packing or 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownCost:
    """A batch in the product's mold on every basis, the chosen one drawn."""

    plan: Plan
    bases: tuple[ShownBasis, ...]
    chosen: ShownBasis
    drawing: Chart | None
    per_gram: int | None


@page(LOOK, methods=GET)
def product_page(request: HttpRequest, code: str) -> HttpResponse:
    """The cost of a bar as a waterfall, its price ladder, and prices that keep the margins."""
    on = timezone.localdate()
    product = product_by_code(code)
    lacking = lots_not_known()
    ladder = price_ladder(code, on=on, lacking=lacking)
    asked = request.GET.get("basis", "")
    shown, refusal = _cost(product, ladder.cost.packing, asked, on, lacking)
    spread = next(iter(_in_mold(product, lacking)), None)
    context = {
        "product": product,
        "ladder": show_ladder(ladder),
        "suggestions": suggestions_of(ladder),
        "cost": shown,
        "refusal": refusal,
        "spread": spread,
        "batches": spread
        and spread.spread
        and drawn_batches(spread.batches, prefix="batches", title="Cost of a bar, batch by batch"),
        "edition": _edition(product, on),
    }
    return render(request, "costing/prices/product.html", context)


def _cost(
    product: Product, packing: int | None, asked: str, on: date, lacking: NotKnown
) -> tuple[ShownCost | None, str]:
    """The cost on each basis, or why the product's batch cannot be worked out."""
    chosen = PriceBasis(asked) if asked in list(PriceBasis) else PriceBasis.REPLACEMENT
    try:
        plan = make_plan(load_formula(code=product.formula.code), Wish(mold=product.mold))
        costings = costs_of_plan(plan, on=on, lacking=lacking)
    except Refusal as refusal:
        return None, str(refusal)
    bases = tuple(
        ShownBasis(
            basis=each.basis,
            name=each.basis.words,
            costing=each,
            packing=packing,
            is_chosen=each.basis is chosen,
        )
        for each in costings
    )
    one = next(each for each in bases if each.is_chosen)
    bar = one.costing.bar
    drawing = None
    if bar is not None and bar.at_least:
        drawing = drawn_bar(
            bar,
            prefix="bar",
            title=f"Cost of a bar: {one.name.lower()}",
            more=[("Packing for the shop", packing or 0)],
        )
    shown = ShownCost(
        plan=plan,
        bases=bases,
        chosen=one,
        drawing=drawing,
        per_gram=per_gram_of_plan(plan, one.costing),
    )
    return shown, ""


def _in_mold(product: Product, lacking: NotKnown) -> list[MoldSpread]:
    found = cost_spread(product.formula.code, last=LAST, lacking=lacking)
    return [each for each in found if each.mold == product.mold.code]


def _edition(product: Product, on: date) -> PackagingEdition | None:
    """What the packaging set takes on a day. Two queries."""
    editions = PackagingEdition.objects.filter(
        packaging_set=product.packaging_set_id, effective_from__lte=on
    )
    rows = editions.prefetch_related("pieces__material").order_by("-effective_from")
    return rows.first() if product.packaging_set_id else None


class ProductForm(forms.Form):
    """All that is kept of a product."""

    name = forms.CharField(max_length=120, label="Name", help_text="As it stands on letters.")
    code = forms.SlugField(
        required=False, max_length=40, label="Code", help_text="Left empty, it is made of the name."
    )
    formula = forms.ChoiceField(label="Bars of")
    mold = forms.ChoiceField(label="Usually made in")
    packaging_set = forms.ChoiceField(
        required=False,
        label="Packed as",
        help_text="Until it is said, what packing costs is not known, and no floor either.",
    )
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
        ways = {"": "Not said yet", NO_PACKING: "It needs no packing", **packings}
        choices = {"formula": recipes, "mold": molds, "packaging_set": ways}
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
    codes = {name: part.code if part else "" for name, part in parts.items()}
    if kept.needs_no_packing:
        codes["packaging_set"] = NO_PACKING
    return {**known, **codes}


def _save(request: HttpRequest, given: dict[str, Any], kept: Product | None) -> Product:
    way = given["packaging_set"]
    packed = None if way in ("", NO_PACKING) else way
    values = {**given, "packaging_set": packed, "needs_no_packing": way == NO_PACKING}
    if kept is not None:
        values["code"] = kept.code
    return save_product(
        ProductDescription(**values),
        row_id=None if kept is None else kept.pk,
        unchanged=unchanged_since(request),
        by=who(request),
    )
