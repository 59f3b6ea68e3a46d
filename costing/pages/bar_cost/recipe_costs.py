"""What a recipe costs in each mold and batch by batch; recipes held against each other."""

from datetime import date
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from costing.domain.bar_cost.bar_cost import CostKind
from costing.pages.drawn import drawn_batches, length
from costing.pages.rules import GET, LOOK
from costing.queries.bar_cost.mold_costs import MoldCosts, mold_costs
from costing.queries.bar_cost.price_basis import PriceBasis
from costing.queries.bar_cost.recipe_costs import RecipeCost, recipe_costs
from costing.queries.bar_cost.spread import cost_spread
from recipes.queries.formulas.formulas import formula_by_code
from recipes.queries.formulas.newest import active_soaps
from recipes.queries.molds.molds import active_molds
from studio.foundation.errors import NotFound, Refusal
from studio.web.pages.ruled import page

BASES = [(basis.value, basis.words) for basis in reversed(PriceBasis)]
LAST = 12
MOST = 100


class BasisForm(forms.Form):
    """At which prices materials are valued."""

    basis = forms.ChoiceField(choices=BASES, required=False, label="Prices")

    @property
    def chosen(self) -> PriceBasis:
        """The basis that is asked for, or replacement."""
        asked = self.cleaned_data.get("basis") if self.is_valid() else ""
        return PriceBasis(asked) if asked else PriceBasis.REPLACEMENT


class CompareForm(BasisForm):
    """In which mold, at which prices, and which recipes."""

    mold = forms.ChoiceField(required=False, label="Mold")
    q = forms.CharField(required=False, max_length=100, label="Recipe")
    field_order = ("mold", "basis", "q")

    def __init__(self, *args: Any, molds: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["mold"].choices = molds  # type: ignore[attr-defined]


@page(LOOK, methods=GET)
def recipe_cost_page(request: HttpRequest, code: str) -> HttpResponse:
    """A recipe's bar in every mold in use, what the next size saves, and what batches cost."""
    formula = formula_by_code(code)
    form = BasisForm(request.GET or {"basis": PriceBasis.REPLACEMENT.value})
    found, refusal = _molds(code, form.chosen)
    spreads = [
        (each, drawn_batches(each.batches, prefix=f"batches-{place}", title="Cost of a bar"))
        for place, each in enumerate(cost_spread(code, last=LAST))
    ]
    dearest = max((each.per_bar for each in found.molds), default=0) if found else 0
    rows = [
        {
            "mold": each,
            "length": length(each.per_bar, dearest),
            "kinds": [each.by_kind.get(kind, 0) for kind in KINDS],
        }
        for each in (found.molds if found else ())
    ]
    context = {
        "recipe": formula,
        "form": form,
        "found": found,
        "rows": rows,
        "cheapest": min(found.molds if found else (), key=lambda m: m.per_bar, default=None),
        "refusal": refusal,
        "spreads": spreads,
    }
    return render(request, "costing/bar_cost/recipe_cost.html", context)


KINDS = (CostKind.MATERIAL, CostKind.PACKAGING, CostKind.LABOR, CostKind.OVERHEAD)


def _molds(code: str, basis: PriceBasis) -> tuple[MoldCosts | None, str]:
    try:
        return mold_costs(code, on=timezone.localdate(), basis=basis), ""
    except NotFound as refusal:
        # The recipe is there: it is its version that is not.
        return None, str(refusal)
    except Refusal as refusal:
        return None, str(refusal)


@page(LOOK, methods=GET)
def recipe_costs_page(request: HttpRequest) -> HttpResponse:
    """All recipes in one mold, the dearest bar first."""
    molds = [(mold.code, mold.name) for mold in active_molds()]
    form = CompareForm(request.GET or None, molds=molds)
    given = form.cleaned_data if form.is_valid() else {}
    mold = given.get("mold") or (molds[0][0] if molds else "")
    wanted = str(given.get("q", "")).lower()
    soaps = [each for each in active_soaps() if wanted in each.name.lower()]
    found = _compared(soaps[:MOST], mold, form.chosen, timezone.localdate()) if mold else []
    dearest = max((each.per_bar or 0 for each in found), default=0)
    context = {
        "form": form,
        "mold": dict(molds).get(mold),
        "rows": [(each, length(each.per_bar, dearest)) for each in found],
        "known": [each for each in found if each.per_bar is not None],
        "more": max(len(soaps) - MOST, 0),
        "most": MOST,
    }
    return render(request, "costing/bar_cost/recipe_costs.html", context)


def _compared(soaps: Any, mold: str, basis: PriceBasis, on: date) -> list[RecipeCost]:
    return recipe_costs(soaps, mold=mold, on=on, basis=basis) if soaps else []
