"""Tiers: who is sold to at which margin, the steps of the price ladder."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from costing.models.prices.prices import Tier
from costing.pages.dated import LOOK, SET
from costing.queries.rates.set_up import tier_at, tiers_with_fees
from costing.services.prices.tiers import TierDescription, save_tier, start_ladder
from studio.foundation.errors import Refusal
from studio.web.form_fields import MoneyFormField, ShareFormField
from studio.web.pages.forms import form_page, saved_by, see_other, unchanged_since
from studio.web.pages.ruled import GET, page, who


class TierForm(forms.Form):
    """All that is kept of a tier."""

    name = forms.CharField(max_length=60, label="Name")
    code = forms.SlugField(max_length=40, label="Short code")
    position = forms.IntegerField(
        min_value=0,
        max_value=1000,
        initial=1,
        label="Place in the ladder",
        help_text="The highest prices first: 1, then 2.",
    )
    wanted_margin = ShareFormField(
        label="Wanted margin", help_text="Of the price without tax: 50 % asks twice the cost."
    )
    floor_margin = ShareFormField(
        label="Floor margin", help_text="Below it nothing is sold without an owner's word."
    )
    step = MoneyFormField(
        required=False,
        label="Prices go in steps of",
        help_text="Empty: the smallest coin.",
    )
    ending = MoneyFormField(
        required=False,
        label="and end on",
        help_text="Steps of 1.00 that end on 0.95 give 4.95, 5.95.",
    )
    tax_share = ShareFormField(required=False, label="Sales tax")
    tax_included = forms.BooleanField(required=False, label="Prices are written with tax")
    active = forms.BooleanField(required=False, initial=True, label="Is sold on")


@page(LOOK, methods=GET)
def tiers_page(request: HttpRequest) -> HttpResponse:
    """The steps of the ladder, or the offer to start with three."""
    tiers = tiers_with_fees(on=timezone.localdate())
    return render(request, "costing/prices/tiers.html", {"tiers": tiers})


@page(SET, methods=("POST",))
def tiers_start(request: HttpRequest) -> HttpResponse:
    """Keep the three steps that many studios sell on."""
    try:
        made = start_ladder(by=who(request))
    except Refusal as refusal:
        messages.error(request, str(refusal))
    else:
        names = ", ".join(tier.name for tier in made)
        messages.success(request, f"{names} are there. Change their margins to your own.")
    return see_other(request, "tiers-page")


@page(SET)
def tier_new(request: HttpRequest) -> HttpResponse:
    """Add a tier."""
    return _edit(request, None)


@page(SET)
def tier_edit(request: HttpRequest, code: str) -> HttpResponse:
    """Change a tier; its prices stay as they are listed."""
    return _edit(request, tier_at(code))


def _edit(request: HttpRequest, kept: Tier | None) -> HttpResponse:
    initial = {} if kept is None else {name: getattr(kept, name) for name in TierForm.base_fields}
    form = TierForm(request.POST or None, initial=initial)
    saved = saved_by(request, form, lambda: _save(request, form.cleaned_data, kept))
    if saved is not None:
        return see_other(request, "tiers-page")
    return form_page(request, "costing/prices/tier_edit.html", {"form": form, "tier": kept})


def _save(request: HttpRequest, given: dict[str, Any], kept: Tier | None) -> Tier:
    values = {**given, **{name: given[name] or 0 for name in ("step", "ending", "tax_share")}}
    return save_tier(
        TierDescription(**values),
        row_id=None if kept is None else kept.pk,
        unchanged=unchanged_since(request),
        on=timezone.localdate(),
        by=who(request),
    )
