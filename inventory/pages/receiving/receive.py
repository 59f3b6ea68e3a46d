"""Receive a delivery: many lines as the invoice writes them, with what each costs to land."""

from fractions import Fraction
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from inventory.models.buying.orders import PurchaseOrder
from inventory.pages.receiving.receive_form import Charges, HeadForm, Lines, read_delivery
from inventory.pages.stock.lot_certificate import ASKED
from inventory.pages.words import units_of
from inventory.queries.stock.lot_history import known_names
from inventory.queries.stock.on_order import find_order
from inventory.services.receiving.deliveries import faults_of_delivery, receive_delivery
from inventory.services.receiving.lines import ReadLine, preview_delivery
from inventory.services.receiving.received import Received
from studio.foundation.errors import Fault, InvalidInput
from studio.foundation.roles import Capability, may_see_costs
from studio.foundation.units.writing import how_many
from studio.web.pages.forms import faults_on, form_page, place_faults, see_other
from studio.web.pages.ruled import GET, page

#: Names of the rules -> fields of a line.
NAMES = {"material": "item", "offer": "item", "packs": "written", "order_line": "item"}
SUGGESTED = 20
#: ng of 1 kg and of 1 lb, by the reader's units.
PER = {"metric": (10**12, "kg"), "us": (453_592_370_000, "lb")}


@page(Capability.KEEP_STOCK, once=True)
def receive_page(request: HttpRequest) -> HttpResponse:
    """Take a delivery in, of a placed order or of nothing that was ordered here."""
    order = find_order(request.GET["order"]) if request.GET.get("order") else None
    head, lines, charges = _forms(request, order)
    costs = may_see_costs(request.user)
    if request.method == "POST":
        received = _read(head, lines, charges, order, costs=costs)
        if received is not None:
            by: Any = request.user
            with faults_on(head, rows={"lines": lines, "charges": charges}, names=NAMES):
                delivery = receive_delivery(received, by=by)
                count = len(received.lines)
                messages.success(request, f"{how_many(count, 'lot')} came in.")
                return see_other(request, "delivery-page", delivery.code)
    context = {
        "head": head,
        "lines": lines,
        "charges": charges,
        "order": order,
        "asks_unusual": _asks_unusual(head, lines),
    }
    return form_page(request, "inventory/receiving/receive.html", context)


@page((Capability.KEEP_STOCK, Capability.SEE_COSTS), methods=("POST",))
def landed_fragment(request: HttpRequest) -> HttpResponse:
    """What the lines that are typed so far would cost to land. Nothing is kept."""
    head = HeadForm(request.POST)
    lines, charges = Lines(request.POST, prefix="lines"), Charges(request.POST, prefix="charges")
    context: dict[str, Any] = {"shown": [], "faults": [], "total": 0}
    received = _read(head, lines, charges, None, costs=True)
    if received is not None:
        seen = preview_delivery(received)
        size, unit = PER.get(units_of(request.user), PER["metric"])
        context = {
            "shown": [
                _shown(line, seen.landed[index].cost if seen.landed else None, size, unit)
                for index, line in enumerate(seen.lines)
            ],
            "faults": [_words(fault) for fault in seen.faults],
            "total": seen.total,
            "is_whole": bool(seen.landed),
        }
    return render(request, "inventory/receiving/_landed.html", context)


@page(Capability.READ, methods=GET)
def known_items(request: HttpRequest) -> HttpResponse:
    """Materials, and offers of the chosen supplier, that may be meant by what is typed."""
    typed = next((str(text) for name, text in request.GET.items() if name.endswith("-item")), "")
    materials, offers = known_names(
        typed.strip()[:100], supplier=request.GET.get("supplier", ""), limit=SUGGESTED
    )
    context = {"materials": materials, "offers": offers}
    return render(request, "inventory/catalog/_known_items.html", context)


def _forms(request: HttpRequest, order: PurchaseOrder | None) -> tuple[HeadForm, Any, Any]:
    initial = {"received_on": timezone.localdate(), "supplier": request.GET.get("supplier", "")}
    rows: list[dict[str, Any]] = []
    if order is not None:
        initial["supplier"] = order.supplier.code
        rows = [_ordered(line) for line in order.lines.all() if line.outstanding]
    elif request.GET.get("material"):
        rows = [{"item": request.GET["material"]}]
    post = request.POST or None
    lines = Lines(post, prefix="lines", initial=None if post else rows)
    if rows:
        lines.extra = 0
    return HeadForm(post, initial=initial), lines, Charges(post, prefix="charges")


def _asks_unusual(head: HeadForm, lines: Any) -> bool:
    """Whether it must be confirmed, or was, that certificates state something unusual."""
    wrong = any(name in form.errors for form in lines.forms for name in ASKED)
    return head.is_bound and (wrong or bool(head["as_stated"].value()))


def _ordered(line: Any) -> dict[str, Any]:
    """What a line of an order still has to bring, as it would stand on the invoice."""
    packs = max(1, round(Fraction(line.outstanding * line.packs, line.amount)))
    return {
        "item": line.offer.code,
        "written": str(packs),
        "price": round(Fraction(line.price * packs, line.packs)),
        "position": line.position,
    }


def _read(
    head: HeadForm, lines: Any, charges: Any, order: PurchaseOrder | None, *, costs: bool
) -> Received | None:
    """What the forms say, or None with what is wrong beside the fields."""
    valid = [head.is_valid(), lines.is_valid(), charges.is_valid()]
    if not (lines.management_form.is_valid() and charges.management_form.is_valid()):
        return None
    received = read_delivery(head, lines, charges, order=order.code if order else "", costs=costs)
    if not received.lines:
        place_faults(InvalidInput("Write at least one line of the invoice."), head)
        return None
    if all(valid) and not any(form.errors for form in lines.forms):
        return received
    _tell_the_rest(received, head, lines, charges)
    return None


def _tell_the_rest(received: Received, head: HeadForm, lines: Any, charges: Any) -> None:
    """What else is wrong with a delivery of which some could not be read, beside its fields.

    A row that is marked already, and sums over all rows, are judged once everything is read.
    """
    rows = {"lines": lines, "charges": charges}
    unread = {
        f"{name}.{index}"
        for name, formset in rows.items()
        for index, form in enumerate([form for form in formset.forms if form.has_changed()])
        if form.errors
    }
    faults = [
        fault
        for fault in faults_of_delivery(received)
        if fault.field not in (*rows, *head.errors)
        and ".".join(fault.field.split(".")[:2]) not in unread
    ]
    if faults:
        place_faults(InvalidInput(faults=faults), head, rows=rows, names=NAMES)


def _shown(line: ReadLine | None, cost: int | None, size: int, unit: str) -> dict[str, Any]:
    if line is None:
        return {"line": None}
    per, word = (1, "piece") if line.material.counted else (size, unit)
    each = None if cost is None else round(Fraction(cost * per, line.pack.amount))
    return {"line": line, "cost": cost, "each": each, "word": word}


def _words(fault: Fault) -> str:
    first, _, rest = fault.field.partition(".")
    number = rest.partition(".")[0]
    if first == "lines" and number.isdecimal():
        return f"Line {int(number) + 1}: {fault.message}"
    return fault.message
