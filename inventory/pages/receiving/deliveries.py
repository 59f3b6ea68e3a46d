"""Deliveries as they came in."""

from django import forms
from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from inventory.models.receiving.deliveries import Delivery
from studio.foundation.errors import NotFound
from studio.foundation.roles import Capability
from studio.web.pages.lists import list_page
from studio.web.pages.places import page_address
from studio.web.pages.ruled import GET, page


class DeliveryFilter(forms.Form):
    """What is looked for among deliveries."""

    q = forms.CharField(required=False, max_length=100, label="Delivery, invoice or supplier")


@page(Capability.READ, methods=GET)
def delivery_list(request: HttpRequest) -> HttpResponse:
    """All deliveries, the newest first."""
    form = DeliveryFilter(request.GET or None)
    text = form.cleaned_data["q"] if form.is_valid() else ""
    found = Delivery.objects.select_related("supplier").annotate(lots=Count("lines"))
    if text:
        found = found.filter(
            Q(code__icontains=text) | Q(invoice__icontains=text) | Q(supplier__name__icontains=text)
        )
    rows = list_page(request, found, order=("-received_on", "-id"), filters=form)
    return render(request, "inventory/receiving/deliveries.html", {"rows": rows})


@page(Capability.READ, methods=GET)
def delivery_page(request: HttpRequest, code: str) -> HttpResponse:
    """One delivery: the lots that came of it, with their labels."""
    delivery = Delivery.objects.select_related("supplier", "by").filter(code=code).first()
    if delivery is None:
        raise NotFound(f"There is no delivery {code}.")
    lines = list(
        delivery.lines.select_related("material", "lot", "order_line__order").order_by("position")
    )
    charges = list(delivery.charges.all())
    context = {
        "delivery": delivery,
        "lines": [(line, page_address("lot-label-sheet", line.lot.code)) for line in lines],
        "charges": charges,
        "landed": sum(line.landed_cost for line in lines),
        "goods": sum(line.price for line in lines),
        "orders": sorted({line.order_line.order.code for line in lines if line.order_line}),
    }
    return render(request, "inventory/receiving/delivery.html", context)
