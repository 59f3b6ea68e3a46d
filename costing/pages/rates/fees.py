"""Fees of selling: what a card or a market takes, and since when."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from costing.models.rates.fees import Fee
from costing.pages.dated_form import from_day, may_be_replaced
from costing.pages.rules import GET, LOOK, SET
from costing.queries.rates.set_up import fees_by_tier, tiers_in_order
from costing.services.rates.fees import FeeDescription, save_fee
from studio.foundation.errors import Refusal
from studio.web.form_fields import MoneyFormField, ShareFormField
from studio.web.pages.forms import form_page, place_faults, see_other
from studio.web.pages.ruled import page, who


class FeeForm(forms.Form):
    """A fee from a day on; one that ends is followed by one of nothing."""

    name = forms.CharField(max_length=120, label="What takes it")
    code = forms.SlugField(
        max_length=40, label="Short code", help_text="The same as before to change it: card."
    )
    tier = forms.ChoiceField(required=False, label="On sales to")
    share = ShareFormField(required=False, label="Share of what is paid")
    fixed_per_sale = MoneyFormField(required=False, label="And for each sale")
    effective_from = from_day()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        tiers = [(tier.code, tier.name) for tier in tiers_in_order()]
        self.fields["tier"].choices = [("", "All tiers"), *tiers]  # type: ignore[attr-defined]


@page(LOOK, methods=GET)
def fees_page(request: HttpRequest) -> HttpResponse:
    """Every fee now, to come, and before."""
    found = fees_by_tier(on=timezone.localdate())
    return render(request, "costing/rates/fees.html", {"found": found})


@page(SET)
def fee_new(request: HttpRequest) -> HttpResponse:
    """Let a fee hold from a day on; one of the same day to come is replaced."""
    asked = {name: request.GET.get(name, "") for name in ("name", "code", "tier")}
    form = FeeForm(request.POST or None, initial=asked)
    if request.method == "POST" and form.is_valid():
        try:
            fee = _save(request, form.cleaned_data)
        except Refusal as refusal:
            place_faults(refusal, form)
        else:
            messages.success(request, f"{fee.name} holds from {fee.effective_from} on.")
            return see_other(request, "fees-page")
    return form_page(request, "costing/rates/fee_new.html", {"form": form})


def _save(request: HttpRequest, given: dict[str, Any]) -> Fee:
    tier = given["tier"] or None
    values = {**given, "tier": tier, "share": given["share"] or 0}
    described = FeeDescription(**{**values, "fixed_per_sale": given["fixed_per_sale"] or 0})
    same = Fee.objects.filter(
        code=given["code"], tier__code=tier, effective_from=given["effective_from"]
    ).first()
    again = same.pk if same and may_be_replaced(same, today=timezone.localdate()) else None
    return save_fee(described, fee_id=again, by=who(request))
