"""Suppliers: whom the studio buys from, what they offer, what came from them."""

from typing import Any

from django import forms
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from inventory.models.catalog.suppliers import Supplier
from inventory.queries.catalog.suppliers import (
    newest_deliveries,
    offers_of,
    open_orders_of,
    supplier_at,
)
from inventory.services.catalog.suppliers import (
    LONGEST_LEAD_TIME_DAYS,
    SupplierDescription,
    save_supplier,
)
from studio.foundation.roles import Capability, may_see_costs
from studio.web.form_fields import MoneyFormField
from studio.web.pages.forms import form_page, saved_by, see_other, unchanged_since
from studio.web.pages.lists import list_page
from studio.web.pages.ruled import page, who

GET = ("GET", "HEAD")
#: Terms in money, which only those who may see costs read and write.
TERMS = ("minimum_order", "freight", "free_freight_from", "order_handling")
#: Where nothing is written there is none of it.
_NONE_IS_ZERO = ("minimum_order", "freight")


class SupplierFilter(forms.Form):
    """Who is looked for."""

    q = forms.CharField(required=False, max_length=100, label="Name or code")
    old = forms.BooleanField(required=False, label="With those not bought from any more")


class SupplierForm(forms.Form):
    """All that is kept of a supplier."""

    name = forms.CharField(max_length=120, label="Name")
    code = forms.SlugField(
        max_length=40, label="Short code", help_text="Letters, digits and dashes: mill-lane."
    )
    email = forms.EmailField(required=False, label="E-mail", help_text="Orders are mailed there.")
    phone = forms.CharField(required=False, max_length=40, label="Phone")
    lead_time_days = forms.IntegerField(
        min_value=0,
        max_value=LONGEST_LEAD_TIME_DAYS,
        initial=7,
        label="Days from order to delivery",
    )
    minimum_order = MoneyFormField(required=False, label="Smallest order")
    freight = MoneyFormField(required=False, label="Freight of an order")
    free_freight_from = MoneyFormField(
        required=False, label="Free of freight from", help_text="Goods worth this much."
    )
    order_handling = MoneyFormField(
        required=False,
        label="What an order costs beside its goods",
        help_text="In the studio's own time; empty: as for any order.",
    )
    active = forms.BooleanField(required=False, initial=True, label="Is bought from")
    note = forms.CharField(
        required=False, max_length=2000, label="Note", widget=forms.Textarea(attrs={"rows": 2})
    )

    def __init__(self, *args: Any, sees_costs: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not sees_costs:
            for name in TERMS:
                del self.fields[name]


@page(Capability.READ, methods=GET)
def supplier_list(request: HttpRequest) -> HttpResponse:
    """Suppliers by name."""
    form = SupplierFilter(request.GET or None)
    rows = list_page(request, _found(form), order=("name", "id"), filters=form)
    return render(request, "inventory/catalog/suppliers.html", {"rows": rows})


def _found(form: SupplierFilter) -> "QuerySet[Supplier]":
    given = form.cleaned_data if form.is_valid() else {}
    found = Supplier.objects.all()
    if not given.get("old"):
        found = found.filter(active=True)
    if text := given.get("q"):
        found = found.filter(Q(name__icontains=text) | Q(code__icontains=text))
    return found


@page(Capability.READ, methods=GET)
def supplier_page(request: HttpRequest, code: str) -> HttpResponse:
    """A supplier with terms, offers, open orders and the newest deliveries."""
    supplier = supplier_at(code)
    context = {
        "supplier": supplier,
        "offers": offers_of(supplier),
        "orders": open_orders_of(supplier),
        "deliveries": newest_deliveries(supplier),
    }
    return render(request, "inventory/catalog/supplier.html", context)


@page(Capability.KEEP_STOCK)
def supplier_new(request: HttpRequest) -> HttpResponse:
    """Write down a supplier."""
    return _edit(request, None)


@page(Capability.KEEP_STOCK)
def supplier_edit(request: HttpRequest, code: str) -> HttpResponse:
    """Change what is kept of a supplier; orders that were placed stay as they are."""
    return _edit(request, supplier_at(code))


def _edit(request: HttpRequest, kept: Supplier | None) -> HttpResponse:
    sees = may_see_costs(request.user)
    initial = {} if kept is None else {n: getattr(kept, n) for n in SupplierForm.base_fields}
    form = SupplierForm(request.POST or None, initial=initial, sees_costs=sees)
    saved = saved_by(request, form, lambda: _save(request, form.cleaned_data, kept))
    if saved is not None:
        return see_other(request, "supplier-page", saved.code)
    return form_page(
        request, "inventory/catalog/supplier_edit.html", {"form": form, "supplier": kept}
    )


def _save(request: HttpRequest, given: dict[str, Any], kept: Supplier | None) -> Supplier:
    zeros = {name: given[name] or 0 for name in _NONE_IS_ZERO if name in given}
    return save_supplier(
        SupplierDescription(**{**given, **zeros}),
        supplier_id=None if kept is None else kept.pk,
        unchanged=unchanged_since(request),
        # Who may not see the terms leaves them as they are.
        keep=() if kept is None else [name for name in TERMS if name not in given],
        by=who(request),
    )
