"""When to reorder each material, and up to how much: what is kept, what could be, and why."""

from decimal import Decimal
from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from inventory.domain.catalog.materials import MADE_HERE
from inventory.models.buying.policies import PolicySettings
from inventory.models.catalog.materials import Material
from inventory.queries.buying.policies import suggested_policies
from inventory.services.buying.policy import (
    LONGEST_TIME_TO_USE_DAYS,
    adopt_policy,
    change_aims,
    policy_of,
    settings_of,
)
from studio.foundation.errors import NotFound, Refusal
from studio.foundation.roles import Capability, may_see_costs
from studio.web.form_fields import MoneyFormField, ShareFormField
from studio.web.pages.forms import faults_on, form_page, place_faults, see_other, unchanged_since
from studio.web.pages.lists import list_page
from studio.web.pages.ruled import GET, page, who

GAPS = {
    "no-use": "nothing of it was used in the last two years, so its use is not known",
    "no-lead-time": "nobody offers it now, so its days to come are not known",
    "no-priced-offer": "nobody offers it at a price now",
}


class PolicyFilter(forms.Form):
    """Which materials are looked at."""

    q = forms.CharField(required=False, max_length=100, label="Name or code")
    unset = forms.BooleanField(required=False, label="Without a mark to reorder at")


class AimsForm(forms.Form):
    """What is aimed at when something is reordered; what is empty is the studio's own aim."""

    service_level = ShareFormField(
        required=False,
        least=Decimal("0.5"),
        label="Chance that an order comes before the stock is used up",
        help_text="From 50 % to below 100 %.",
    )
    order_cost = MoneyFormField(required=False, label="What an order costs beside its goods")
    holding_share = ShareFormField(
        required=False,
        most=Decimal(5),
        label="What a year of keeping stock costs, as a share of its worth",
    )
    time_to_use_days = forms.IntegerField(
        required=False,
        min_value=0,
        max_value=LONGEST_TIME_TO_USE_DAYS,
        label="Days before its best before by which stock is to be used",
    )

    def __init__(self, *args: Any, costs: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not costs:
            del self.fields["order_cost"]


@page(Capability.READ, methods=GET)
def policy_list(request: HttpRequest) -> HttpResponse:
    """The mark to reorder at of what is bought, beside what could be suggested."""
    form = PolicyFilter(request.GET or None)
    rows = list_page(request, _found(form), order=("name", "id"), filters=form)
    wanted = Material.objects.filter(pk__in=[material.pk for material in rows.rows])
    found = suggested_policies(on=timezone.localdate(), materials=wanted) if rows.rows else []
    shown = sorted(found, key=lambda each: (each.material.name, each.material.pk))
    return render(request, "inventory/buying/policies.html", {"rows": rows, "policies": shown})


@page(Capability.READ, methods=GET)
def policy_page(request: HttpRequest, code: str) -> HttpResponse:
    """One material: what is suggested, and from which numbers."""
    return _policy_page(request, code, forms.Form())


@page(Capability.KEEP_STOCK, methods=("POST",), once=True)
def adopt_policy_page(request: HttpRequest, code: str) -> HttpResponse:
    """Take what is suggested as the material's own."""
    form = forms.Form(request.POST)
    form.is_valid()
    try:
        material = adopt_policy(code, unchanged=unchanged_since(request), by=who(request))
    except NotFound:
        raise
    except Refusal as refusal:
        place_faults(refusal, form)
        return _policy_page(request, code, form)
    messages.success(request, f"{material.name} is reordered at its new mark from now on.")
    return see_other(request, "policy-page", code)


@page(Capability.KEEP_STOCK)
def aims_page(request: HttpRequest, code: str) -> HttpResponse:
    """What is aimed at for one material apart from the studio's aims."""
    material = Material.objects.filter(code=code).first()
    if material is None:
        raise NotFound(f"There is no material {code}.")
    return _aims(request, material)


@page(Capability.SETTLE)
def studio_aims_page(request: HttpRequest) -> HttpResponse:
    """What the studio aims at for all materials without aims of their own."""
    return _aims(request, None)


def _found(form: PolicyFilter) -> "QuerySet[Material]":
    given = form.cleaned_data if form.is_valid() else {}
    found = Material.objects.filter(active=True).exclude(kind__in=[k.value for k in MADE_HERE])
    if given.get("unset"):
        found = found.filter(reorder_point=None)
    if given.get("q"):
        found = found.filter(Q(name__icontains=given["q"]) | Q(code__icontains=given["q"]))
    return found


def _policy_page(request: HttpRequest, code: str, form: forms.Form) -> HttpResponse:
    policy = policy_of(code)
    suggestion, kept = policy.suggestion, policy.material
    at = suggestion.at
    context = {
        "policy": policy,
        "material": kept,
        "suggestion": suggestion,
        "gaps": [GAPS[gap] for gap in suggestion.gaps],
        "same": (kept.reorder_point, kept.reorder_to)
        == (suggestion.reorder_point, suggestion.reorder_to),
        "expected": None if at is None else round(at.expected),
        "safety": None if at is None else round(at.safety_stock),
        "per_day": None if suggestion.demand is None else round(suggestion.demand.mean),
        "form": form,
    }
    return form_page(request, "inventory/buying/policy.html", context)


def _aims(request: HttpRequest, material: Material | None) -> HttpResponse:
    kept = settings_of(material)
    costs = may_see_costs(request.user)
    form = AimsForm(request.POST or None, costs=costs, initial=_values(kept))
    if request.method == "POST" and form.is_valid():
        with faults_on(form):
            change_aims(material, form.cleaned_data, unchanged=unchanged_since(request))
            messages.success(request, "The aims are kept; suggestions follow them.")
            if material is None:
                return see_other(request, "policies-page")
            return see_other(request, "policy-page", material.code)
    context = {"form": form, "material": material, "kept": kept}
    return form_page(request, "inventory/buying/aims.html", context)


def _values(kept: PolicySettings) -> dict[str, Any]:
    return {name: getattr(kept, name) for name in AimsForm.base_fields}
