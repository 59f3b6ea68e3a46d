"""Two sums before selling: bars a month that cover what is spent anyway, and the smallest order."""

from decimal import Decimal
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from costing.domain.prices.ladder import Rung
from costing.domain.profit.break_even import (
    HIGHEST,
    MOST_BARS,
    BreakEven,
    OrderCosts,
    SmallestOrder,
    Sold,
    break_even,
    smallest_order,
)
from costing.models.prices.prices import Product
from costing.pages.dated import GET, WORK_OUT
from costing.queries.bar_cost.product_costs import ProductCost, product_costs
from studio.foundation.money import PER_UNIT
from studio.web.form_fields import MoneyFormField, ShareFormField
from studio.web.pages.forms import faults_on
from studio.web.pages.ruled import page


class _Amounts(forms.Form):
    """Amounts whose products can be kept."""

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        for name, field in self.fields.items():
            if isinstance(field, MoneyFormField) and (given.get(name) or 0) > HIGHEST:
                self.add_error(name, f"At most {HIGHEST // PER_UNIT} is reckoned with here.")
        return given


class BreakEvenForm(_Amounts):
    """What is spent in a month whether bars are sold or not, and what each bar brings."""

    fixed_cost = MoneyFormField(label="Spent in a month anyway", help_text="Rent, insurance.")
    price = MoneyFormField(label="Price of a bar", help_text="Without tax.")
    variable_cost = MoneyFormField(label="Cost of a bar", help_text="With the fees of its sale.")
    target_profit = MoneyFormField(required=False, label="Profit that is wanted")


class OrderForm(_Amounts):
    """What an order costs to pack and handle, and what its bars bring."""

    bar_price = MoneyFormField(label="Price of a bar", help_text="Without tax.")
    cost_per_bar = MoneyFormField(label="Cost of a bar")
    cost_per_order = MoneyFormField(label="Packing and handling an order")
    cost_per_carton = MoneyFormField(required=False, label="And for each carton")
    bars_per_carton = forms.IntegerField(
        min_value=1, max_value=MOST_BARS, initial=24, label="Bars in a carton"
    )
    fee_share = ShareFormField(required=False, label="Fee, of what is paid")


@page(WORK_OUT, methods=GET)
def break_even_page(request: HttpRequest) -> HttpResponse:
    """Both sums; nothing is stored, the address keeps what was asked."""
    cost = _cost(request.GET.get("product", ""))
    known = cost and cost.replacement
    month = BreakEvenForm(
        request.GET if "fixed_cost" in request.GET else None, initial={"variable_cost": known}
    )
    order = OrderForm(
        request.GET if "cost_per_order" in request.GET else None, initial={"cost_per_bar": known}
    )
    context = {
        "unknown": cost if cost and known is None else None,
        "month": month,
        "order": order,
        "even": _even(month) if month.is_valid() else None,
        "smallest": _smallest(order) if order.is_valid() else None,
        "order_asked": order.is_bound and order.is_valid(),
    }
    return render(request, "costing/profit/break_even.html", context)


def _cost(code: str) -> ProductCost | None:
    """What a bar of a product costs, where one is named."""
    product = Product.objects.filter(code=code).first() if code else None
    if product is None:
        return None
    return product_costs([product.pk], on=timezone.localdate())[product.pk]


def _even(form: BreakEvenForm) -> BreakEven | None:
    given = form.cleaned_data
    sold = Sold(name="bars", price=given["price"], variable_cost=given["variable_cost"])
    names = {"products.0.price": "price", "products.0.variable_cost": "variable_cost"}
    with faults_on(form, names=names):
        return break_even(given["fixed_cost"], [sold], target_profit=given["target_profit"] or 0)
    return None


def _smallest(form: OrderForm) -> SmallestOrder | None:
    given = form.cleaned_data
    costs = OrderCosts(
        per_order=given["cost_per_order"],
        per_carton=given["cost_per_carton"] or 0,
        bars_per_carton=given["bars_per_carton"],
        fee_share=given["fee_share"] or Decimal(0),
    )
    rung = Rung(from_quantity=1, price=given["bar_price"])
    with faults_on(form):
        return smallest_order([rung], given["cost_per_bar"], costs, most=MOST_BARS)
    return None
