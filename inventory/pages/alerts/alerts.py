"""Alerts: what needs looking after, seen, put off until a day, or looked for anew."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from inventory.models.alerts.alerts import Alert
from inventory.queries.alerts.alerts import STATES, alerts_found, last_run
from inventory.services.alerts.alerts import ALERTS_JOB, acknowledge, raise_alerts, snooze
from inventory.services.alerts.registry import CAUSES, costly_kinds
from studio.foundation.errors import NotFound, Refusal
from studio.foundation.roles import Capability, may_see_costs
from studio.web.pages.forms import see_other
from studio.web.pages.lists import list_page
from studio.web.pages.places import page_address
from studio.web.pages.ruled import GET, page, who

#: For how many days an alert can be put off.
PUT_OFF = {1: "until tomorrow", 3: "for 3 days", 7: "for a week", 14: "for 2 weeks", 30: "30 days"}
#: The pages that an alert can be answered on.
BACK = ("buying", "alerts-page")


class AlertFilter(forms.Form):
    """Which alerts are looked at."""

    state = forms.ChoiceField(
        required=False, choices=[("", "Open"), *((s, s.capitalize()) for s in STATES[1:])]
    )
    kind = forms.ChoiceField(required=False, label="Kind")

    def __init__(self, *args: Any, kinds: Iterable[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["kind"].choices = [("", "Every kind"), *kinds]  # type: ignore[attr-defined]


@dataclass(frozen=True, slots=True)
class ShownAlert:
    """An alert with the name of its kind and the page of what it is about."""

    alert: Alert
    title: str
    href: str
    is_open: bool


def titles_for(user: Any) -> dict[str, str]:
    """The kinds of alerts that somebody may see, with their names."""
    costs = may_see_costs(user)
    return {cause.kind: cause.title for cause in CAUSES if costs or not cause.shows_costs}


def shown_alerts(alerts: Iterable[Alert], titles: dict[str, str]) -> list[ShownAlert]:
    """Alerts as a list draws them."""
    return [
        ShownAlert(
            alert=alert,
            title=titles.get(alert.kind, alert.kind.replace("-", " ")).lower(),
            href=page_address("material-page", alert.material.code) if alert.material else "",
            is_open=alert.closed_at is None,
        )
        for alert in alerts
    ]


def hidden_kinds(user: Any) -> list[str]:
    """The kinds of alerts that are not there for somebody."""
    return [] if may_see_costs(user) else costly_kinds()


@page(Capability.READ, methods=GET)
def alert_list(request: HttpRequest) -> HttpResponse:
    """All alerts, the newest first."""
    titles = titles_for(request.user)
    form = AlertFilter(request.GET or None, kinds=titles.items())
    given = form.cleaned_data if form.is_valid() else {}
    found = alerts_found(
        on=timezone.localdate(),
        state=given.get("state") or "open",
        kind=given.get("kind", ""),
        without=hidden_kinds(request.user),
    )
    rows = list_page(request, found, order=("-id",), filters=form)
    context = {
        "rows": rows,
        "alerts": shown_alerts(rows.rows, titles),
        "looked": last_run(ALERTS_JOB),
        "put_off": PUT_OFF,
        "back": "alerts-page",
    }
    return render(request, "inventory/alerts/alerts.html", context)


@page(Capability.KEEP_STOCK, methods=("POST",), once=True)
def acknowledge_alert(request: HttpRequest, number: int) -> HttpResponse:
    """Keep that somebody has seen it."""
    alert = _alert(request, number)
    try:
        acknowledge(alert.pk, by=who(request), now=timezone.now())
    except Refusal as refusal:
        messages.warning(request, str(refusal))
    else:
        messages.success(request, f"{alert.name}: you have seen it. It stays until it is mended.")
    return _back(request)


@page(Capability.KEEP_STOCK, methods=("POST",), once=True)
def snooze_alert(request: HttpRequest, number: int) -> HttpResponse:
    """Keep it quiet for some days."""
    alert = _alert(request, number)
    days = request.POST.get("days", "")
    if days not in map(str, PUT_OFF):
        messages.warning(request, "Choose for how long it is to be put off.")
        return _back(request)
    until = timezone.localdate() + timedelta(days=int(days))
    return _snoozed(request, alert, until)


@page(Capability.KEEP_STOCK, methods=("POST",), once=True)
def look_now(request: HttpRequest) -> HttpResponse:
    """Look for every cause now, not with the next round of the background job."""
    found = raise_alerts(now=timezone.now())
    messages.success(request, f"Looked now: {found.opened} new, {found.closed} gone.")
    return _back(request)


def _snoozed(request: HttpRequest, alert: Alert, until: date) -> HttpResponse:
    try:
        snooze(alert.pk, until=until, by=who(request), now=timezone.now())
    except Refusal as refusal:
        messages.warning(request, str(refusal))
    else:
        messages.success(request, f"{alert.name}: quiet until {until}.")
    return _back(request)


def _alert(request: HttpRequest, number: int) -> Alert:
    found = alerts_found(
        on=timezone.localdate(), state="all", without=hidden_kinds(request.user)
    ).filter(pk=number)
    alert = found.first()
    if alert is None:
        raise NotFound("There is no such alert.")
    return alert


def _back(request: HttpRequest) -> HttpResponse:
    back = request.POST.get("back", "")
    return see_other(request, back if back in BACK else "alerts-page")
