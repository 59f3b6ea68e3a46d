"""What a recipe costs in each mold and batch by batch; recipes held against each other."""

from collections.abc import Iterable
from datetime import date
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from costing.domain.bar_cost.bar_cost import CostKind
from costing.pages.dated import LOOK, WORK_OUT
from costing.pages.drawn import drawn_batches, length
from costing.queries.bar_cost.not_known import NotKnown, lots_not_known
from costing.queries.bar_cost.plans import PlanCosting, costs_of_plan
from costing.queries.bar_cost.price_basis import PriceBasis
from costing.queries.bar_cost.recipe_costs import (
    MoldCosts,
    RecipeCost,
    cost_spread,
    mold_costs,
    recipe_costs,
)
from recipes.queries.formulas.formulas import formula_by_code, load_formula
from recipes.queries.formulas.listed import active_soaps
from recipes.queries.molds.molds import active_molds
from recipes.queries.scaling.plans import make_plan
from recipes.services.scaling.planning import Asked, wish_from
from studio.foundation.errors import NotFound, Refusal
from studio.foundation.units.conversion import length_nm, mass_ng, volume_nl
from studio.foundation.units.registry import Dimension
from studio.web.form_fields import QuantityFormField
from studio.web.pages.ruled import GET, page

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
    lacking = lots_not_known()
    found, refusal = _molds(code, form.chosen, lacking)
    spreads = [
        (
            each,
            drawn_batches(each.batches, prefix=f"batches-{place}", title="Cost of a bar")
            if each.batches
            else None,
        )
        for place, each in enumerate(cost_spread(code, last=LAST, lacking=lacking))
    ]
    dearest = max((each.at_least for each in found.molds), default=0) if found else 0
    priced = [each for each in (found.molds if found else ()) if each.per_bar is not None]
    rows = [
        {
            "mold": each,
            "length": length(each.at_least, dearest),
            "kinds": [each.by_kind.get(kind, 0) for kind in KINDS],
        }
        for each in (found.molds if found else ())
    ]
    context = {
        "recipe": formula,
        "form": form,
        "found": found,
        "rows": rows,
        "cheapest": min(priced, key=lambda mold: mold.at_least, default=None),
        "notes": _notes(each.costing for each in (found.molds if found else ())),
        "refusal": refusal,
        "spreads": spreads,
    }
    return render(request, "costing/bar_cost/recipe_cost.html", context)


def _notes(costings: Iterable[PlanCosting]) -> list[str]:
    """What the costs do not know, each said once."""
    return list(dict.fromkeys(note for each in costings for note in each.notes))


KINDS = (CostKind.MATERIAL, CostKind.PACKAGING, CostKind.LABOR, CostKind.OVERHEAD)


def _molds(code: str, basis: PriceBasis, lacking: NotKnown) -> tuple[MoldCosts | None, str]:
    try:
        return mold_costs(code, on=timezone.localdate(), basis=basis, lacking=lacking), ""
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
    dearest = max((each.at_least or 0 for each in found), default=0)
    context = {
        "form": form,
        "mold": dict(molds).get(mold),
        "rows": [(each, length(each.at_least, dearest)) for each in found],
        "known": [each for each in found if each.per_bar is not None],
        "notes": _notes(each.costing for each in found if each.costing is not None),
        "more": max(len(soaps) - MOST, 0),
        "most": MOST,
    }
    return render(request, "costing/bar_cost/recipe_costs.html", context)


def _compared(soaps: Any, mold: str, basis: PriceBasis, on: date) -> list[RecipeCost]:
    return recipe_costs(soaps, mold=mold, on=on, basis=basis) if soaps else []


@page(WORK_OUT, methods=GET)
def recipe_cost_fragment(request: HttpRequest, code: str) -> HttpResponse:
    """The cost of a bar on the lots it would take, and to buy anew; for the scale page."""
    given = request.GET
    try:
        loaded = load_formula(code=code, number=_number(given.get("version", "")))
        plan = make_plan(loaded, wish_from(_asked(given)))
        lots, anew = costs_of_plan(
            plan,
            on=_day(given.get("on", "")),
            bases=(PriceBasis.PICKED_LOTS, PriceBasis.REPLACEMENT),
        )
    except (Refusal, forms.ValidationError) as refusal:
        said = refusal.messages[0] if isinstance(refusal, forms.ValidationError) else str(refusal)
        return render(request, "costing/bar_cost/_recipe_cost.html", {"refusal": said})
    return render(request, "costing/bar_cost/_recipe_cost.html", {"lots": lots, "anew": anew})


def _number(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 10 else None


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return timezone.localdate()


def _asked(given: Any) -> Asked:
    """The target that the scale page's fields say. Raises ValidationError."""
    size = given.get("size", "")
    bars = _number(given.get("bars", ""))
    if size in ("", "mold") and given.get("mold"):
        height = _read(given.get("fill_height"), Dimension.LENGTH, length_nm)
        return Asked(mold=given["mold"], fill_height_nm=height)
    if size == "bars":
        poured = _read(given.get("poured_weight"), Dimension.MASS, mass_ng)
        return Asked(bars=bars, poured_weight_ng=poured)
    if size == "volume":
        return Asked(volume_nl=_read(given.get("amount"), Dimension.VOLUME, volume_nl), bars=bars)
    amount = _read(given.get("amount"), Dimension.MASS, mass_ng)
    if size == "fats":
        return Asked(fats_ng=amount, bars=bars)
    return Asked(batter_ng=amount, bars=bars)


def _read(text: str | None, dimension: Dimension, stored: Any) -> int | None:
    field = QuantityFormField(dimensions=[dimension], stored=stored, required=False)
    value: int | None = field.clean(text)
    return value
