"""What left the shelf for customers, and taking some of it back."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from inventory.queries.shipping.shipments import (
    LeftLine,
    left_with,
    lines_left,
    shipment_at,
    shipments_found,
)
from inventory.services.shipping.returns import REASON_LENGTH, Returning, return_shipment
from studio.foundation.roles import Capability
from studio.web.form_fields import DayFormField
from studio.web.pages.forms import faults_on, form_page, see_other
from studio.web.pages.lists import list_page
from studio.web.pages.ruled import GET, page, who


class ShipmentFilter(forms.Form):
    """What is looked for among shipments."""

    q = forms.CharField(required=False, max_length=100, label="Shipment, customer, order or lot")
    since = DayFormField(required=False, label="From")
    until = DayFormField(required=False, label="Until")


class ReturnForm(forms.Form):
    """What came back of a shipment: pieces by lot."""

    returned_on = DayFormField(label="Came back on")
    reason = forms.CharField(max_length=REASON_LENGTH, label="Why")

    def __init__(self, data: Any, *, lines: list[LeftLine]) -> None:
        super().__init__(data, initial={"returned_on": timezone.localdate()})
        self.lines = [line for line in lines if line.out]
        for line in self.lines:
            self.fields[_name(line)] = forms.IntegerField(
                required=False,
                min_value=0,
                label=f"Pieces of {line.line.lot.material.name}, lot {line.line.lot.code}",
                help_text=f"{line.out} are with the customer; empty: none came back.",
            )

    def returning(self) -> Returning:
        """What the service is asked to take back."""
        given = self.cleaned_data
        pieces = {line.line.lot.code: given[_name(line)] for line in self.lines}
        return Returning(
            returned_on=given["returned_on"],
            reason=given["reason"],
            lots={lot: amount for lot, amount in pieces.items() if amount},
        )

    def names(self) -> dict[str, str]:
        """The service's paths as the fields here."""
        return {f"lots.{line.line.lot.code}": _name(line) for line in self.lines}


def _name(line: LeftLine) -> str:
    return f"lot-{line.line.lot.code}"


@page(Capability.READ, methods=GET)
def shipment_list(request: HttpRequest) -> HttpResponse:
    """All shipments, the newest first."""
    form = ShipmentFilter(request.GET or None)
    given = form.cleaned_data if form.is_valid() else {}
    found = shipments_found(
        text=given.get("q", ""), since=given.get("since"), until=given.get("until")
    )
    rows = list_page(request, found, order=("-shipped_on", "-id"), filters=form)
    left = left_with(rows.rows)
    shown = [(one, left[one.pk]) for one in rows.rows]
    return render(request, "inventory/shipping/shipments.html", {"rows": rows, "shown": shown})


@page(Capability.READ, methods=GET)
def shipment_page(request: HttpRequest, code: str) -> HttpResponse:
    """One shipment: the lots that gave to it, and what came back."""
    shipment = shipment_at(code)
    lines = lines_left(shipment)
    context = {
        "shipment": shipment,
        "lines": lines,
        "returns": [(line.line, one) for line in lines for one in line.returns],
        "pieces": sum(line.line.amount for line in lines),
        "back": sum(line.back for line in lines),
        "out": sum(line.out for line in lines),
        "cost_out": sum(line.cost_out for line in lines),
    }
    return render(request, "inventory/shipping/shipment.html", context)


@page(Capability.KEEP_STOCK, once=True)
def return_page(request: HttpRequest, code: str) -> HttpResponse:
    """Take back what a customer returned, with the cost that had left."""
    shipment = shipment_at(code)
    lines = lines_left(shipment)
    form = ReturnForm(request.POST or None, lines=lines)
    if request.method == "POST" and form.is_valid():
        with faults_on(form, names=form.names()):
            returns = return_shipment(code, form.returning(), by=who(request))
            pieces = sum(one.amount for one in returns)
            words = "1 piece is" if pieces == 1 else f"{pieces} pieces are"
            messages.success(request, f"{words} back on the shelf.")
            return see_other(request, "shipment-page", code)
    context = {
        "shipment": shipment,
        "form": form,
        "asked": [form[_name(line)] for line in form.lines],
    }
    return form_page(request, "inventory/shipping/shipment_return.html", context)
