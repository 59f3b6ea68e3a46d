"""How orders come about: a quote is sent and answered, or bars are ordered without one."""

from collections.abc import Mapping
from typing import Any

from django import forms
from django.contrib import messages
from django.forms import formset_factory
from django.http import HttpRequest, HttpResponse
from django.template.loader import render_to_string
from django.utils import timezone

from costing.models.orders.sales import SalesOrder
from costing.models.prices.prices import Product
from costing.models.quotes.quotes import Customer, Quote, QuoteState
from costing.pages.orders.form import BarsForm
from costing.pages.quotes.customers import OFFER
from costing.pages.quotes.form import NamedField, called
from costing.pages.quotes.quotes import DeclineForm, quote_shown, show_quote
from costing.queries.quotes.quotes import find_quote
from costing.services.orders.opening import Mode, Start, accept_quote
from costing.services.orders.sales import OrderedBars, Ordering, place_order
from costing.services.prices.floor_word import LONGEST_WORD
from costing.services.quotes.drafts import MOST_LINES
from costing.services.quotes.letter import MAIL_TEMPLATE, values_of
from costing.services.quotes.quotes import decline_quote, send_quote
from recipes.domain.weighing import MOST_BARS
from studio.foundation.roles import Capability, Role, role_of
from studio.web.form_fields import DayFormField, MoneyFormField
from studio.web.pages.forms import OptionalRows, faults_on, filled, form_page, see_other
from studio.web.pages.ruled import page, who

SELL = (Capability.READ, Capability.PRICE, Capability.SEE_COSTS)


class OrderForm(forms.Form):
    """The head of an order; what is left empty follows from the customer and the shelf."""

    customer = NamedField(of="customer", help_text="By name or code.")
    due_on = DayFormField(
        required=False, label="Due on", help_text="Empty: when all of it can be there."
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
    override_reason = forms.CharField(
        required=False,
        max_length=LONGEST_WORD,
        label="Why under the floor, or without knowing it",
        help_text="Needed only then, of an owner; it stays with the order.",
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


@page(SELL, once=True)
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
    context = {
        "head": head,
        "lines": lines,
        "customers": customers,
        "products": products,
        "is_owner": role_of(request.user) == Role.OWNER,
    }
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
        override_reason=given["override_reason"],
    )
    return place_order(ordering, start=Start(mode=Mode(given["mode"])), by=who(request))


class SendForm(forms.Form):
    """How a quote is sent."""

    mail = forms.BooleanField(required=False, label="Mail the letter to the customer")
    size = forms.ChoiceField(
        choices=[("a4", "A4"), ("letter", "Letter")],
        label="Paper of the mailed letter",
    )
    override_reason = forms.CharField(
        required=False,
        max_length=LONGEST_WORD,
        label="Why it is sent all the same",
        help_text="It is kept with the quote, with your name; the letter does not show it.",
    )


class AcceptForm(BarsForm):
    """What the customer said yes to, and what is held for it at once."""

    mode = forms.ChoiceField(
        label="Bars to hold now",
        widget=forms.RadioSelect,
        initial=Mode.PARTS.value,
        choices=[
            (Mode.PARTS.value, "As many as are free; the rest as it is made"),
            (Mode.ALL.value, "All of them, or do not accept it"),
            ("stated", "So many of each line:"),
        ],
    )
    plan = forms.BooleanField(
        required=False, initial=True, label="Plan batches for the bars that are missing"
    )
    reference = forms.CharField(required=False, max_length=80, label="The customer's order number")


@page(OFFER, once=True)
def quote_send(request: HttpRequest, code: str) -> HttpResponse:
    """Look at the letter and the mail, then send them."""
    quote = find_quote(code)
    if request.method != "POST" and quote.state != QuoteState.DRAFT:
        return see_other(request, "quote-page", code)
    form = SendForm(
        request.POST or None, initial={"mail": bool(quote.customer.email), "size": "a4"}
    )
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        with faults_on(form, names={"customer.email": "mail"}):
            send_quote(code, on=timezone.localdate(), by=who(request), **given)
            mailed = f" and is on its way to {quote.customer.email}" if given["mail"] else ""
            messages.success(request, f"{code} is sent{mailed}.")
            return see_other(request, "quote-page", code)
    context = {
        "quote": quote,
        "shown": show_quote(quote),
        "form": form,
        "mail_text": render_to_string(MAIL_TEMPLATE, values_of(quote)),
        "is_owner": role_of(request.user) == Role.OWNER,
    }
    return form_page(request, "costing/quotes/send.html", context)


@page(OFFER, once=True)
def quote_accept(request: HttpRequest, code: str) -> HttpResponse:
    """Turn a sent quote into an order: hold bars, plan what is missing."""
    quote = find_quote(code)
    if request.method != "POST" and quote.state != QuoteState.SENT:
        return see_other(request, "quote-page", code)
    lines = list(quote.lines.all())
    most = {line.position: line.quantity for line in lines}
    form = AcceptForm(request.POST or None, lines=lines, most=most)
    if request.method == "POST" and form.is_valid():
        with faults_on(form, names=form.names):
            order = _accepted(request, quote, form)
            messages.success(request, f"{code} is accepted: it is order {order.code} now.")
            return see_other(request, "order-page", order.code)
    context = {"quote": quote, "shown": show_quote(quote), "form": form}
    return form_page(request, "costing/quotes/accept.html", context)


def _accepted(request: HttpRequest, quote: Quote, form: AcceptForm) -> Any:
    given = form.cleaned_data
    stated = given["mode"] == "stated"
    return accept_quote(
        quote.code,
        mode=Mode.PARTS if stated else Mode(given["mode"]),
        parts=form.bars if stated else None,
        plan=given["plan"],
        reference=given["reference"],
        by=who(request),
    )


@page(OFFER, methods=("POST",), once=True)
def quote_decline(request: HttpRequest, code: str) -> HttpResponse:
    """The customer does not want it."""
    form = DeclineForm(request.POST)
    if form.is_valid():
        with faults_on(form):
            decline_quote(code, by=who(request), reason=form.cleaned_data["reason"])
            messages.success(request, f"{code} is declined.")
            return see_other(request, "quote-page", code)
    return quote_shown(request, code, form, status=422)
