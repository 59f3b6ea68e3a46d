"""Suppliers: whom the studio buys from, what they offer, what came from them."""

from django import forms
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from inventory.models.catalog.suppliers import Supplier
from inventory.queries.catalog.offers import (
    newest_deliveries,
    offers_of,
    open_orders_of,
    supplier_at,
)
from inventory.services.catalog.suppliers import save_supplier
from studio.foundation.model_fields import described
from studio.foundation.roles import Capability, may_see_costs
from studio.web.pages.forms import form_page, saved_by, see_other
from studio.web.pages.lists import list_page
from studio.web.pages.row_forms import RowForm, expected_of
from studio.web.pages.ruled import GET, page, who


class SupplierFilter(forms.Form):
    """Who is looked for."""

    q = forms.CharField(required=False, max_length=100, label="Name or code")
    old = forms.BooleanField(required=False, label="With those not bought from any more")


class SupplierForm(RowForm):
    """All that is kept of a supplier."""

    class Meta(RowForm.Meta):
        model = Supplier
        fields = described(Supplier)


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
    form = SupplierForm(request.POST or None, instance=kept, sees_costs=may_see_costs(request.user))
    saved = saved_by(
        request,
        form,
        lambda: save_supplier(*form.given_row(), by=who(request), expected=expected_of(request)),
    )
    if saved is not None:
        return see_other(request, "supplier-page", saved.code)
    return form_page(
        request, "inventory/catalog/supplier_edit.html", {"form": form, "supplier": kept}
    )
