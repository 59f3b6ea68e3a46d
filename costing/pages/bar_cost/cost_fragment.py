"""The cost of a bar on the scale page, for what that page asks."""

from datetime import date
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from costing.pages.rules import GET, WORK_OUT
from costing.queries.bar_cost.plans import costs_of_plan
from costing.queries.bar_cost.price_basis import PriceBasis
from recipes.queries.formulas.formulas import load_formula
from recipes.services.scaling.planning import make_plan
from recipes.services.scaling.wishes import Asked, wish_from
from studio.foundation.errors import Refusal
from studio.foundation.units.conversion import length_nm, mass_ng, volume_nl
from studio.foundation.units.registry import Dimension
from studio.web.form_fields import QuantityFormField
from studio.web.pages.ruled import page


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
