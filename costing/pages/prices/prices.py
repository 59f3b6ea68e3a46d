"""The price list: what each product costs, what is asked for it, and what fell under its floor."""

from django import forms
from django.db.models import Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from costing.models.prices.prices import Tier
from costing.models.prices.products import Product
from costing.pages.prices.shown_ladder import show_ladder, show_slips
from costing.pages.rules import GET, LOOK
from costing.queries.prices.margin_watch import watched
from costing.queries.prices.price_ladder import price_ladders
from studio.web.pages.lists import list_page
from studio.web.pages.ruled import page

SIZE = 25


class ProductFilter(forms.Form):
    """What is looked for among the products."""

    q = forms.CharField(required=False, max_length=100, label="Name or code")
    old = forms.BooleanField(required=False, label="With those no longer sold")


@page(LOOK, methods=GET)
def price_list(request: HttpRequest) -> HttpResponse:
    """All products by name with cost, prices by tier, margins; on top what fell under its floor."""
    on = timezone.localdate()
    form = ProductFilter(request.GET or None)
    rows = list_page(request, _found(form), order=("name", "id"), filters=form, size=SIZE)
    watch = watched(on=on, also=[product.pk for product in rows.rows])
    slips = show_slips(watch.slips, on=on)
    ladders = price_ladders(rows.rows, on=on, costs=watch.costs)
    context = {
        "rows": rows,
        "ladders": [show_ladder(view) for view in ladders],
        "tiers": list(Tier.objects.filter(active=True)),
        "listed": [each for each in slips if not each.slip.is_quote],
        "quoted": [each for each in slips if each.slip.is_quote],
    }
    return render(request, "costing/prices/prices.html", context)


def _found(form: ProductFilter) -> "QuerySet[Product]":
    given = form.cleaned_data if form.is_valid() else {}
    found = Product.objects.all()
    if not given.get("old"):
        found = found.filter(active=True)
    if given.get("q"):
        found = found.filter(Q(name__icontains=given["q"]) | Q(code__icontains=given["q"]))
    return found
