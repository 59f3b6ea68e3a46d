"""Customers' orders: the list, the page of each, its pick list, and what it holds."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import OuterRef, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from costing.models.orders.sales import (
    SalesOrder,
    SalesOrderBatch,
    SalesOrderHold,
    SalesOrderLine,
    SalesOrderState,
)
from costing.pages.orders.form import BarsForm
from costing.queries.orders.sales import find_order, held_of, pick_list
from costing.services.orders.batches import plan_missing
from costing.services.orders.holds import reserve_line, unreserve_line
from recipes.queries.bench.batches import UNDER_WAY
from studio.foundation.errors import Refusal
from studio.foundation.roles import Capability
from studio.web.pages.forms import faults_on, form_page, refused_form, see_other
from studio.web.pages.lists import list_page
from studio.web.pages.ruled import GET, page, who

OPEN, ANY = SalesOrderState.OPEN, "any"
STATES = [
    ("", "Open"),
    (SalesOrderState.SHIPPED.value, "Shipped"),
    (SalesOrderState.CANCELLED.value, "Called off"),
    (ANY, "Any"),
]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownLine:
    """A line of an order; `missing` are bars that nothing holds and no batch makes."""

    line: SalesOrderLine
    held: int
    batches: tuple[SalesOrderBatch, ...]
    making: int
    missing: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Out:
    """Bars of a line that left with a shipment, and how many of them came back."""

    shipment: str
    position: int
    product: str
    bars: int
    back: int

    @property
    def name(self) -> str:
        """How the form of a return calls it."""
        return f"{self.shipment}:{self.position}"


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownOrder:
    """An order with its lines as they are shown."""

    order: SalesOrder
    lines: tuple[ShownLine, ...]
    out: tuple[Out, ...]
    today: date

    @property
    def is_open(self) -> bool:
        """Whether something of it is still to leave."""
        return self.order.state == SalesOrderState.OPEN

    @property
    def is_late(self) -> bool:
        """Whether it should have left."""
        return self.is_open and self.order.due_on < self.today

    @property
    def bars(self) -> int:
        """All bars that were ordered."""
        return sum(row.line.quantity for row in self.lines)

    @property
    def shipped(self) -> int:
        """Bars that left."""
        return sum(row.line.shipped for row in self.lines)

    @property
    def to_ship(self) -> int:
        """Bars that have not left."""
        return self.bars - self.shipped

    @property
    def held(self) -> int:
        """Bars that it holds."""
        return sum(row.held for row in self.lines)

    @property
    def making(self) -> int:
        """Bars that batches make for it."""
        return sum(row.making for row in self.lines)

    @property
    def missing(self) -> int:
        """Bars that nothing holds and no batch makes."""
        return sum(row.missing for row in self.lines)

    @property
    def returnable(self) -> list[tuple[str, str]]:
        """Choices of a return: what is still with the customer."""
        return [
            (out.name, f"{out.shipment}: {out.product}, {out.bars - out.back} bars")
            for out in self.out
            if out.bars > out.back
        ]


def show_order(order: SalesOrder, *, today: date) -> ShownOrder:
    """An order of `costing.queries.orders.sales.find_order` as its page shows it. No query."""
    is_open = order.state == SalesOrderState.OPEN
    return ShownOrder(
        order=order,
        lines=tuple(_line(row, is_open=is_open) for row in order.lines.all()),
        out=tuple(
            _out(sale.shipment.code, row)
            for sale in order.shipments.all()
            for row in sale.lines.all()
        ),
        today=today,
    )


def _line(line: SalesOrderLine, *, is_open: bool) -> ShownLine:
    held = held_of(line)
    batches = tuple(row for row in line.batches.all() if row.batch.state in UNDER_WAY)
    open_bars = line.quantity - line.shipped - held if is_open else 0
    making = min(sum(row.bars for row in batches), open_bars)
    return ShownLine(
        line=line, held=held, batches=batches, making=making, missing=open_bars - making
    )


def _out(shipment: str, row: Any) -> Out:
    return Out(
        shipment=shipment,
        position=row.line.position,
        product=row.line.product.name,
        bars=row.bars,
        back=sum(credit.bars for credit in row.credits.all()),
    )


class OrderFilter(forms.Form):
    """What is looked for among the orders."""

    q = forms.CharField(required=False, max_length=100, label="Customer or number")
    state = forms.ChoiceField(required=False, choices=STATES)


@page(Capability.READ, methods=GET)
def order_list(request: HttpRequest) -> HttpResponse:
    """Orders by the day they are due."""
    form = OrderFilter(request.GET or None)
    rows = list_page(request, _found(form), order=("due_on", "id"), filters=form)
    today = timezone.localdate()
    still_open = SalesOrder.objects.filter(state=OPEN)
    context = {
        "rows": rows,
        "today": today,
        "open": still_open.count(),
        "late": still_open.filter(due_on__lt=today).count(),
    }
    return render(request, "costing/orders/orders.html", context)


def _found(form: OrderFilter) -> "QuerySet[SalesOrder]":
    given = form.cleaned_data if form.is_valid() else {}
    found = SalesOrder.objects.select_related("customer")
    state = given.get("state") or OPEN
    if state != ANY:
        found = found.filter(state=state)
    if text := given.get("q"):
        found = found.filter(
            Q(code__icontains=text)
            | Q(reference__icontains=text)
            | Q(customer__name__icontains=text)
            | Q(customer__code__icontains=text)
        )
    lines = SalesOrderLine.objects.filter(order=OuterRef("pk")).order_by().values("order")
    holds = (
        SalesOrderHold.objects.filter(line__order=OuterRef("pk"), reservation__state="open")
        .order_by()
        .values("line__order")
    )
    return found.annotate(
        bars=Subquery(lines.annotate(n=Sum("quantity")).values("n")),
        left=Subquery(lines.annotate(n=Sum("shipped")).values("n")),
        held=Coalesce(Subquery(holds.annotate(n=Sum("remaining")).values("n")), 0),
    )


@page(Capability.READ, methods=GET)
def order_page(request: HttpRequest, code: str) -> HttpResponse:
    """An order: what left, what is held, what is being made, what is missing."""
    return order_shown(request, code)


def order_shown(
    request: HttpRequest, code: str, form: forms.Form | None = None, *, status: int = 200
) -> HttpResponse:
    """The page of an order, with what was refused."""
    order = find_order(code)
    shown = show_order(order, today=timezone.localdate())
    context = {"order": order, "shown": shown, "form": form or forms.Form()}
    return render(request, "costing/orders/order.html", context, status=status)


@page(Capability.READ, methods=GET)
def order_picks(request: HttpRequest, code: str) -> HttpResponse:
    """Which bars to take from where."""
    found = pick_list(code)
    return render(request, "costing/orders/picks.html", {"found": found, "order": found.order})


@page(Capability.PLAN, methods=("POST",), once=True)
def order_plan(request: HttpRequest, code: str) -> HttpResponse:
    """See that batches make what nothing holds."""
    by = who(request)
    return _done(request, code, lambda: plan_missing(code, by=by), "What was missing is planned.")


@page(Capability.PLAN, methods=("POST",), once=True)
def order_hold_free(request: HttpRequest, code: str) -> HttpResponse:
    """Hold as many bars as are free."""
    by = who(request)
    return _done(request, code, lambda: reserve_line(code, by=by), "All that was free is held.")


def _done(request: HttpRequest, code: str, do: Callable[[], Any], words: str) -> HttpResponse:
    try:
        do()
    except Refusal as refusal:
        return order_shown(request, code, refused_form(refusal), status=422)
    messages.success(request, words)
    return see_other(request, "order-page", code)


@page(Capability.PLAN, once=True)
def order_hold(request: HttpRequest, code: str) -> HttpResponse:
    """Hold so many bars of each line."""
    return _by_line(request, code, give_back=False)


@page(Capability.PLAN, once=True)
def order_give_back(request: HttpRequest, code: str) -> HttpResponse:
    """Give back so many held bars of each line."""
    return _by_line(request, code, give_back=True)


def _by_line(request: HttpRequest, code: str, *, give_back: bool) -> HttpResponse:
    order = find_order(code)
    shown = show_order(order, today=timezone.localdate())
    most = {
        row.line.position: row.held if give_back else row.making + row.missing
        for row in shown.lines
    }
    lines = [row.line for row in shown.lines if most[row.line.position]]
    form = BarsForm(request.POST or None, lines=lines, most=most)
    if request.method == "POST" and form.is_valid() and not form.bars:
        form.add_error(None, "Write how many bars of a line.")
    elif request.method == "POST" and form.is_valid():
        change = unreserve_line if give_back else reserve_line
        with faults_on(form, names=form.names):
            change(code, form.bars, by=who(request))
            bars = sum(form.bars.values())
            messages.success(request, f"{bars} bars are {'free again' if give_back else 'held'}.")
            return see_other(request, "order-page", code)
    context = {"order": order, "shown": shown, "form": form, "give_back": give_back}
    return form_page(request, "costing/orders/hold.html", context)
