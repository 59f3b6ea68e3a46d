"""Recalls: what one would hold before it is opened, the report, and lifting it with a reason."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from inventory.domain.stock.holds import Cause
from inventory.pages.shipping.reach import show_reach
from inventory.queries.shipping.recall import (
    affected_by,
    open_recall_of,
    reached_by,
    recall_at,
    recall_report,
    recalls_found,
)
from inventory.queries.stock.holds import freed_without
from inventory.services.shipping.recall import REASON_LENGTH, lift_recall, recall_lot
from studio.foundation.roles import Capability
from studio.foundation.units.writing import how_many
from studio.web.pages.forms import faults_on, form_page, see_other
from studio.web.pages.lists import list_page
from studio.web.pages.ruled import GET, page, who

STATES = {"open": True, "lifted": False}


class RecallFilter(forms.Form):
    """Which recalls are looked at."""

    q = forms.CharField(required=False, max_length=100, label="Recall, lot, material or reason")
    state = forms.ChoiceField(
        required=False,
        choices=[("", "Open and lifted"), *((one, one.capitalize()) for one in STATES)],
    )


class RecallForm(forms.Form):
    """Why a lot is recalled."""

    reason = forms.CharField(
        max_length=REASON_LENGTH,
        label="Why it is recalled",
        help_text="It stands on every lot that is held, and on the report for customers.",
    )


class LiftForm(forms.Form):
    """Why a recall ends."""

    reason = forms.CharField(
        max_length=REASON_LENGTH, label="Why it ends", help_text="It stays on record."
    )


@page(Capability.READ, methods=GET)
def recall_list(request: HttpRequest) -> HttpResponse:
    """All recalls, the newest first."""
    form = RecallFilter(request.GET or None)
    given = form.cleaned_data if form.is_valid() else {}
    found = recalls_found(text=given.get("q", ""), is_open=STATES.get(given.get("state", "")))
    rows = list_page(request, found, order=("-id",), filters=form)
    context = {"rows": rows, "open": recalls_found(is_open=True).count()}
    return render(request, "inventory/shipping/recalls.html", context)


@page(Capability.READ, methods=GET)
def recall_page(request: HttpRequest, code: str) -> HttpResponse:
    """The report of a recall: who has some, what to set aside, what was reserved."""
    report = recall_report(code)
    reach = show_reach(report.affected, report.contacts)
    context = {"recall": report.recall, "reach": reach}
    return render(request, "inventory/shipping/recall.html", context)


@page(Capability.KEEP_STOCK, once=True)
def open_page(request: HttpRequest, code: str) -> HttpResponse:
    """Show what a recall of a lot would hold, and who has some, and open it."""
    form = RecallForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with faults_on(form):
            recall = recall_lot(code, form.cleaned_data["reason"], by=who(request))
            messages.success(request, f"Lot {code} is recalled, with all that was made of it.")
            return see_other(request, "recall-page", recall.code)
    affected = affected_by(code)
    context: dict[str, Any] = {
        "form": form,
        "reach": show_reach(affected, reached_by(affected)),
        "there": open_recall_of(code),
    }
    return form_page(request, "inventory/shipping/recall_open.html", context)


@page(Capability.KEEP_STOCK, once=True)
def lift_page(request: HttpRequest, code: str) -> HttpResponse:
    """Say what lifting a recall frees, and lift it."""
    recall = recall_at(code)
    freed, still_held = freed_without(Cause.RECALL, recall.document)
    form = LiftForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        with faults_on(form):
            lift_recall(code, form.cleaned_data["reason"], by=who(request))
            others = f" {how_many(still_held, 'lot')} held otherwise." if still_held else ""
            messages.success(
                request, f"{code} is lifted: {how_many(freed, 'lot')} free again.{others}"
            )
            return see_other(request, "recall-page", code)
    context = {"recall": recall, "form": form, "freed": freed, "still_held": still_held}
    return form_page(request, "inventory/shipping/recall_lift.html", context)
