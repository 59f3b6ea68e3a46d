"""How orders come about: a quote is sent and answered, or bars are ordered without one."""

from collections.abc import Mapping
from typing import Any

from django import forms
from django.contrib import messages
from django.forms import formset_factory
from django.http import HttpRequest, HttpResponse

from costing.models.orders.sales import SalesOrder
from costing.models.prices.prices import Product
from costing.models.quotes.customers import Customer
from costing.pages.quotes.form import NamedField, called, day_widget
from costing.services.orders.opening import Mode, Start
from costing.services.orders.sales import OrderedBars, Ordering, place_order
from costing.services.quotes.drafts import MOST_LINES
from recipes.domain.weighing import MOST_BARS
from studio.foundation.roles import Capability
from studio.web.form_fields import MoneyFormField
from studio.web.pages.forms import (
    OptionalRows,
    faults_on,
    filled,
    form_page,
    see_other,
)
from studio.web.pages.ruled import page, who
from studio.web.pages.stock_pages import stock_page

SELL = (Capability.READ, Capability.PRICE, Capability.SEE_COSTS)


class OrderForm(forms.Form):
    """The head of an order; what is left empty follows from the customer and the shelf."""

    customer = NamedField(of="customer", help_text="By name or code.")
    due_on = forms.DateField(
        required=False,
        label="Due on",
        help_text="Empty: when all of it can be there.",
        widget=day_widget(),
    )
    reference = forms.CharField(required=False, max_length=60, label="Their order number")
    freight = MoneyFormField(required=False, label="Freight")
    mode = forms.ChoiceField(
        label="Bars",
        choices=[
            (Mode.PARTS.value, "Hold what is free, and plan batches for the rest"),
            (Mode.ALL.value, "All must be free now, or nothing is ordered"),
        ],
        initial=Mode.PARTS.value,
        widget=forms.RadioSelect,
    )
    note = forms.CharField(
        required=False, max_length=2000, label="Note", widget=forms.Textarea(attrs={"rows": 2})
    )


class OrderLineForm(forms.Form):
    """Bars of a product."""

    product = NamedField(of="product")
    quantity = forms.IntegerField(min_value=1, max_value=MOST_BARS, label="Bars")
    bars_per_carton = forms.IntegerField(
        required=False, min_value=1, max_value=MOST_BARS, label="Per carton"
    )

    def __init__(self, *args: Any, products: Mapping[str, str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["product"].names = products  # type: ignore[attr-defined]


Lines = formset_factory(
    OrderLineForm, formset=OptionalRows, extra=2, max_num=MOST_LINES, validate_max=True
)


@page(SELL)
@stock_page
def order_new(request: HttpRequest) -> HttpResponse:
    """Take an order down: prices by tier and quantity, bars held, the missing ones planned."""
    customers, products = _names(Customer), _names(Product)
    asked = called(customers, request.GET.get("customer", ""))
    head = OrderForm(request.POST or None, initial={"customer": asked})
    head.fields["customer"].names = customers  # type: ignore[attr-defined]
    lines = Lines(request.POST or None, prefix="lines", form_kwargs={"products": products})
    if request.method == "POST" and head.is_valid() and lines.is_valid():
        with faults_on(head, rows={"lines": lines}):
            order = _place(request, head.cleaned_data, filled(lines))
            messages.success(request, f"{order.code} is taken down.")
            return see_other(request, "order-page", order.code)
    context = {"head": head, "lines": lines, "customers": customers, "products": products}
    return form_page(request, "costing/orders/new.html", context)


def _names(model: Any) -> dict[str, str]:
    return dict(model.objects.filter(active=True).order_by("name").values_list("code", "name"))


def _place(request: HttpRequest, given: dict[str, Any], lines: list[dict[str, Any]]) -> SalesOrder:
    ordering = Ordering(
        customer=given["customer"],
        lines=[OrderedBars(**line) for line in lines],
        due_on=given["due_on"],
        reference=given["reference"],
        freight=given["freight"] or 0,
        note=given["note"],
    )
    return place_order(ordering, start=Start(mode=Mode(given["mode"])), by=who(request))
