"""A product: what a bar of it costs and from what, and what is asked for it."""

from dataclasses import dataclass
from datetime import date

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from costing.models.bar_cost.packaging import PackagingEdition
from costing.models.prices.products import Product
from costing.pages.drawn import drawn_bar, drawn_batches
from costing.pages.prices.price_setting import product_by_code
from costing.pages.prices.shown_ladder import show_ladder
from costing.pages.rules import GET, LOOK
from costing.queries.bar_cost.plans import PlanCosting, costs_of_plan, per_gram_of_plan
from costing.queries.bar_cost.price_basis import PriceBasis
from costing.queries.bar_cost.spread import MoldSpread, cost_spread
from costing.queries.prices.price_ladder import price_ladder, suggestions_of
from recipes.queries.formulas.formulas import load_formula
from recipes.services.scaling.planning import Plan, Wish, make_plan
from studio.foundation.drawing.canvas import Chart
from studio.foundation.errors import Refusal
from studio.web.pages.ruled import page

LAST = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownBasis:
    """The cost of a bar on one price basis, packing included."""

    basis: PriceBasis
    name: str
    costing: PlanCosting
    packing: int
    is_chosen: bool

    @property
    def per_bar(self) -> int | None:
        """The bar and its packing; None where the plan makes no bars."""
        bar = self.costing.bar
        return None if bar is None else bar.per_bar + self.packing


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
    ladder = price_ladder(code, on=on)
    shown, refusal = _cost(product, ladder.cost.packing or 0, request.GET.get("basis", ""), on)
    spread = next(iter(_in_mold(product)), None)
    context = {
        "product": product,
        "ladder": show_ladder(ladder),
        "suggestions": suggestions_of(ladder),
        "cost": shown,
        "refusal": refusal,
        "spread": spread,
        "batches": spread
        and drawn_batches(spread.batches, prefix="batches", title="Cost of a bar, batch by batch"),
        "edition": _edition(product, on),
    }
    return render(request, "costing/prices/product.html", context)


def _cost(product: Product, packing: int, asked: str, on: date) -> tuple[ShownCost | None, str]:
    """The cost on each basis, or why the product's batch cannot be worked out."""
    chosen = PriceBasis(asked) if asked in list(PriceBasis) else PriceBasis.REPLACEMENT
    try:
        plan = make_plan(load_formula(code=product.formula.code), Wish(mold=product.mold))
        costings = costs_of_plan(plan, on=on)
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
    if bar is not None and bar.per_bar:
        drawing = drawn_bar(
            bar,
            prefix="bar",
            title=f"Cost of a bar: {one.name.lower()}",
            more=[("Packing for the shop", packing)],
        )
    shown = ShownCost(
        plan=plan,
        bases=bases,
        chosen=one,
        drawing=drawing,
        per_gram=per_gram_of_plan(plan, one.costing),
    )
    return shown, ""


def _in_mold(product: Product) -> list[MoldSpread]:
    found = cost_spread(product.formula.code, last=LAST)
    return [each for each in found if each.mold == product.mold.code]


def _edition(product: Product, on: date) -> PackagingEdition | None:
    """What the packaging set takes on a day. Two queries."""
    editions = PackagingEdition.objects.filter(
        packaging_set=product.packaging_set_id, effective_from__lte=on
    )
    rows = editions.prefetch_related("pieces__material").order_by("-effective_from")
    return rows.first() if product.packaging_set_id else None
