"""Customers: who buys, on which tier, what they were offered and what they ordered."""

from typing import Any

from django import forms
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from costing.models.prices.prices import Tier
from costing.models.quotes.quotes import Customer
from costing.queries.quotes.quotes import find_customer
from costing.services.quotes.customers import CustomerDescription, save_customer
from studio.foundation.roles import Capability
from studio.web.form_fields import ShareFormField
from studio.web.pages.forms import form_page, saved_by, see_other, unchanged_since
from studio.web.pages.lists import list_page
from studio.web.pages.ruled import GET, page, who

OFFER = (Capability.READ, Capability.PRICE, Capability.SEE_COSTS)
#: So many of the newest quotes and orders stand on a customer's page.
NEWEST = 10


class CustomerFilter(forms.Form):
    """Who is looked for."""

    q = forms.CharField(required=False, max_length=100, label="Name or code")
    old = forms.BooleanField(required=False, label="With those not sold to any more")


class CustomerForm(forms.Form):
    """All that is kept of a customer."""

    name = forms.CharField(max_length=120)
    code = forms.SlugField(
        max_length=40, label="Short code", help_text="Letters, digits and dashes: corner-shop."
    )
    tier = forms.ChoiceField(label="Buys at the prices of")
    discount = ShareFormField(required=False, label="Discount off those prices")
    contact = forms.CharField(required=False, max_length=120, label="Person to write to")
    email = forms.EmailField(required=False, label="E-mail", help_text="Quotes are mailed there.")
    phone = forms.CharField(required=False, max_length=40)
    address = forms.CharField(
        required=False,
        max_length=400,
        help_text="As it stands on letters.",
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    terms_days = forms.IntegerField(label="Days to pay", min_value=0, max_value=365, initial=30)
    terms = forms.CharField(
        required=False,
        max_length=400,
        label="Terms in your own words",
        help_text="In place of the days to pay, on letters.",
    )
    tax_exempt = forms.BooleanField(required=False, label="Pays no sales tax (resale certificate)")
    active = forms.BooleanField(required=False, initial=True, label="Is sold to")
    note = forms.CharField(
        required=False,
        max_length=2000,
        help_text="For the studio only.",
        widget=forms.Textarea(attrs={"rows": 2}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        tiers = Tier.objects.order_by("name").values_list("code", "name")
        self.fields["tier"].choices = [("", "Choose a tier"), *tiers]  # type: ignore[attr-defined]


@page(Capability.READ, methods=GET)
def customer_list(request: HttpRequest) -> HttpResponse:
    """Customers by name."""
    form = CustomerFilter(request.GET or None)
    rows = list_page(request, _found(form), order=("name", "id"), filters=form)
    return render(request, "costing/quotes/customers.html", {"rows": rows})


def _found(form: CustomerFilter) -> "QuerySet[Customer]":
    given = form.cleaned_data if form.is_valid() else {}
    found = Customer.objects.select_related("tier")
    if not given.get("old"):
        found = found.filter(active=True)
    if text := given.get("q"):
        found = found.filter(Q(name__icontains=text) | Q(code__icontains=text))
    return found


@page(Capability.READ, methods=GET)
def customer_page(request: HttpRequest, code: str) -> HttpResponse:
    """A customer with the newest quotes and orders."""
    customer = find_customer(code)
    context = {
        "customer": customer,
        "quotes": list(customer.quotes.order_by("-id")[:NEWEST]),
        "orders": list(customer.orders.order_by("-id")[:NEWEST]),
    }
    return render(request, "costing/quotes/customer.html", context)


@page(OFFER)
def customer_new(request: HttpRequest) -> HttpResponse:
    """Write down a new customer."""
    return _edit(request, None)


@page(OFFER)
def customer_edit(request: HttpRequest, code: str) -> HttpResponse:
    """Change what is kept of a customer; what was sent to them stays as it was."""
    return _edit(request, find_customer(code))


def _edit(request: HttpRequest, customer: Customer | None) -> HttpResponse:
    form = CustomerForm(request.POST or None, initial=_kept(customer))
    saved = saved_by(request, form, lambda: _save(request, customer, form.cleaned_data))
    if saved is not None:
        return see_other(request, "customer-page", saved.code)
    has_tiers = len(form.fields["tier"].choices) > 1  # type: ignore[attr-defined]
    context = {"form": form, "customer": customer, "has_tiers": has_tiers}
    return form_page(request, "costing/quotes/customer_edit.html", context)


def _save(request: HttpRequest, customer: Customer | None, given: dict[str, Any]) -> Customer:
    return save_customer(
        CustomerDescription(**{**given, "discount": given["discount"] or 0}),
        row_id=None if customer is None else customer.pk,
        unchanged=unchanged_since(request),
        by=who(request),
    )


def _kept(customer: Customer | None) -> dict[str, Any]:
    if customer is None:
        return {}
    kept = {name: getattr(customer, name) for name in CustomerForm.base_fields}
    return {**kept, "tier": customer.tier.code}
