"""Purchase orders: the list, one order, placing it with its mail, closing and cancelling it."""

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from inventory.models.buying.orders import PurchaseOrder
from inventory.queries.buying.orders import deliveries_of, orders_listed
from inventory.queries.stock.on_order import find_order
from inventory.services.buying.order_papers import letter_if_placed, send_order
from inventory.services.buying.orders import cancel_order, close_order
from studio.foundation.errors import Refusal
from studio.foundation.roles import Capability
from studio.web.pages.forms import faults_on, form_page, refused_form, see_other
from studio.web.pages.lists import list_page
from studio.web.pages.ruled import GET, page

State = PurchaseOrder.State
PLACED_BY = (Capability.KEEP_STOCK, Capability.SEE_COSTS)


class OrderFilter(forms.Form):
    """Which orders are looked at."""

    q = forms.CharField(required=False, max_length=100, label="Order or supplier")
    state = forms.ChoiceField(
        required=False,
        choices=[
            ("", "Drafts and placed"),
            *((one.value, one.value.capitalize()) for one in State),
            ("all", "All"),
        ],
    )


@page(Capability.READ, methods=GET)
def order_list(request: HttpRequest) -> HttpResponse:
    """Orders by state, the newest first."""
    form = OrderFilter(request.GET or None)
    given = form.cleaned_data if form.is_valid() else {}
    found = orders_listed(text=given.get("q", ""), state=given.get("state", ""))
    rows = list_page(request, found, order=("-id",), filters=form)
    context = {"rows": rows, "today": timezone.localdate()}
    return render(request, "inventory/buying/orders.html", context)


@page(Capability.READ, methods=GET)
def order_page(request: HttpRequest, code: str) -> HttpResponse:
    """One order: where it stands, its lines, what has come of it."""
    return _order_page(request, code, forms.Form())


@page(PLACED_BY, once=True)
def place_order_page(request: HttpRequest, code: str) -> HttpResponse:
    """Read the mail, then place the order with it, or without."""
    form = forms.Form(request.POST or None)
    today = timezone.localdate()
    if request.method == "POST" and form.is_valid():
        mail = request.POST.get("mail") == "yes"
        with faults_on(form):
            order = send_order(code, on=today, mail=mail)
            told = f", and its mail goes to {order.supplier.email}" if mail else ""
            messages.success(request, f"Order {code} is placed{told}.")
            return see_other(request, "purchase-order-page", code)
    order = find_order(code)
    was_draft = order.state == State.DRAFT
    letter = letter_if_placed(order, on=today)
    context = {"order": order, "letter": letter, "form": form, "was_draft": was_draft}
    return form_page(request, "inventory/buying/order_place.html", context)


@page(Capability.KEEP_STOCK, methods=("POST",), once=True)
def close_order_page(request: HttpRequest, code: str) -> HttpResponse:
    """Expect no more of it."""
    try:
        close_order(code)
    except Refusal as refusal:
        return _refused(request, code, refusal)
    messages.success(request, f"Order {code} is closed: no more of it is expected.")
    return see_other(request, "purchase-order-page", code)


@page(Capability.KEEP_STOCK, methods=("POST",), once=True)
def cancel_order_page(request: HttpRequest, code: str) -> HttpResponse:
    """Take it back as if it never was."""
    try:
        cancel_order(code)
    except Refusal as refusal:
        return _refused(request, code, refusal)
    messages.success(request, f"Order {code} is cancelled.")
    return see_other(request, "purchase-order-page", code)


def _refused(request: HttpRequest, code: str, refusal: Refusal) -> HttpResponse:
    find_order(code)  # what is not there is not found, rather than refused
    return _order_page(request, code, refused_form(refusal))


def _order_page(request: HttpRequest, code: str, form: forms.Form) -> HttpResponse:
    order = find_order(code)
    lines = list(order.lines.all())
    context = {
        "order": order,
        "lines": lines,
        "goods": sum(line.price for line in lines),
        "came": any(line.received for line in lines),
        "open_lines": sum(1 for line in lines if line.outstanding),
        "deliveries": list(deliveries_of(order)),
        "mails": list(order.mails.all()),
        "late": order.state == State.PLACED and order.expected_on < timezone.localdate(),
        "form": form,
    }
    return form_page(request, "inventory/buying/order.html", context)
