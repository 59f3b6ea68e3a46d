"""What cannot be taken back by a click: bars leave, come back, or the rest is called off."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from costing.pages.orders.form import BackForm, EndForm, LeavingForm
from costing.pages.orders.orders import show_order
from costing.pages.quotes.customers import OFFER
from costing.queries.orders.sales import find_order
from costing.services.orders.holds import cancel_rest
from costing.services.orders.returns import SentBack, return_bars
from costing.services.orders.shipping import ToLeave, ship_order
from studio.foundation.roles import Capability
from studio.web.pages.forms import faults_on, form_page, see_other
from studio.web.pages.ruled import page, who


@page(Capability.KEEP_STOCK, once=True)
def order_ship(request: HttpRequest, code: str) -> HttpResponse:
    """Ship what is held, all of it or a part."""
    order = find_order(code)
    shown = show_order(order, today=timezone.localdate())
    if request.method != "POST" and not shown.held:
        return see_other(request, "order-page", code)
    held = {row.line.position: row.held for row in shown.lines}
    lines = [row.line for row in shown.lines if row.held]
    form = LeavingForm(request.POST or None, lines=lines, most=held, usual=held)
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        named = {
            name: given[name] for name in ("cartons", "shipped_on", "without_packaging", "note")
        }
        with faults_on(form, names=form.names):
            sale = ship_order(code, ToLeave(bars=form.bars, **named), by=who(request))
            bars = sum(form.bars.values())
            messages.success(request, f"{bars} bars left with shipment {sale.shipment.code}.")
            return see_other(request, "order-page", code)
    context = {"order": order, "shown": shown, "form": form}
    return form_page(request, "costing/orders/ship.html", context)


@page(Capability.KEEP_STOCK, once=True)
def order_back(request: HttpRequest, code: str) -> HttpResponse:
    """Take back bars that a customer sent back."""
    order = find_order(code)
    shown = show_order(order, today=timezone.localdate())
    if request.method != "POST" and not shown.returnable:
        return see_other(request, "order-page", code)
    form = BackForm(request.POST or None, out=shown.returnable)
    if request.method == "POST" and form.is_valid():
        given = dict(form.cleaned_data)
        shipment, _, line = given.pop("sent").rpartition(":")
        with faults_on(form, names={"shipment": "sent", "line": "sent"}):
            return_bars(code, SentBack(shipment=shipment, line=int(line), **given), by=who(request))
            messages.success(request, f"{given['bars']} bars are back in their lots.")
            return see_other(request, "order-page", code)
    context = {"order": order, "shown": shown, "form": form}
    return form_page(request, "costing/orders/back.html", context)


@page(OFFER, once=True)
def order_end(request: HttpRequest, code: str) -> HttpResponse:
    """Call off what has not left."""
    order = find_order(code)
    shown = show_order(order, today=timezone.localdate())
    if request.method != "POST" and not shown.is_open:
        return see_other(request, "order-page", code)
    form = EndForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with faults_on(form):
            cancel_rest(code, by=who(request), **form.cleaned_data)
            messages.success(request, f"The rest of {code} is called off.")
            return see_other(request, "order-page", code)
    context = {"order": order, "shown": shown, "form": form}
    return form_page(request, "costing/orders/end.html", context)
