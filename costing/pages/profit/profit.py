"""Profit of what left, by the ledger; bars a month that cover what is spent; the smallest order."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.http import urlencode

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
from costing.domain.profit.profit import By, Figures
from costing.models.prices.prices import Product
from costing.pages.dated import LOOK, WORK_OUT
from costing.pages.drawn import length
from costing.queries.bar_cost.product_costs import ProductCost, product_costs
from costing.queries.profit.profit import Profit, profit_by
from studio.foundation.money import PER_UNIT
from studio.web.form_fields import DayFormField, MoneyFormField, ShareFormField
from studio.web.pages.forms import faults_on
from studio.web.pages.places import page_address
from studio.web.pages.ruled import GET, page

GROUPS = {
    "product": "Product",
    "customer": "Customer",
    "month": "Month",
    "customer,product": "Customer and product",
    "product,month": "Product and month",
}


class ProfitForm(forms.Form):
    """What to group by, and which days."""

    by = forms.ChoiceField(required=False, label="By", choices=list(GROUPS.items()))
    since = DayFormField(required=False, label="From")
    until = DayFormField(required=False, label="Until")

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        since, until = given.get("since"), given.get("until")
        if since and until and until < since:
            self.add_error("until", f"It starts on {since}: choose that day or a later one.")
        return given


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownGroup:
    """A group with its names, its figures, and the length of its bars."""

    names: tuple[str, ...]
    figures: Figures
    revenue: int
    cost: int


@page(LOOK, methods=GET)
def profit_page(request: HttpRequest) -> HttpResponse:
    """Revenue, cost of goods sold and margin, of this year unless other days are asked for."""
    new_year = timezone.localdate().replace(month=1, day=1)
    form = ProfitForm(request.GET or {"by": "product", "since": new_year.isoformat()})
    given = form.cleaned_data if form.is_valid() else {}
    by = tuple(By(name) for name in (given.get("by") or "product").split(","))
    found = profit_by(by, since=given.get("since"), until=given.get("until"))
    context = {
        "form": form,
        "found": found,
        "groups": _shown(found),
        "heads": [GROUPS[each.value] for each in by],
        "files": _files(found),
    }
    return render(request, "costing/profit/profit.html", context)


def _shown(found: Profit) -> list[ShownGroup]:
    largest = max((figures.revenue for figures in found.groups.values()), default=0)
    groups = [
        ShownGroup(
            names=tuple(
                found.names.get((by, code), code) for by, code in zip(found.by, group, strict=True)
            ),
            figures=figures,
            revenue=length(max(figures.revenue, 0), largest),
            cost=length(max(figures.cost_at_least, 0), largest),
        )
        for group, figures in found.groups.items()
    ]
    if By.MONTH in found.by:
        return groups
    return sorted(groups, key=lambda each: -each.figures.margin_at_most)


def _files(found: Profit) -> list[tuple[str, str]]:
    """The same as files to take away."""
    days: dict[str, date | None] = {"from": found.since, "until": found.until}
    asked = {"by": ",".join(found.by)}
    asked |= {name: day.isoformat() for name, day in days.items() if day}
    named = (("CSV", page_address("profit-csv")), ("XLSX", page_address("profit-xlsx")))
    return [(word, f"{address}?{urlencode(asked)}") for word, address in named if address]


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
