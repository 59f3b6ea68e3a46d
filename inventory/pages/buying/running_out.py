"""Buying: until when there is enough, what runs out first, and what is done about it."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from inventory.domain.catalog.materials import MADE_HERE
from inventory.models.catalog.materials import Material
from inventory.pages.alerts.alerts import PUT_OFF, hidden_kinds, shown_alerts, titles_for
from inventory.queries.alerts.alerts import alerts_found
from inventory.queries.buying.orders import orders_listed
from inventory.queries.buying.projection import project_materials
from inventory.queries.buying.running_out import RunningOut, running_out, use_not_known
from studio.foundation.drawing.canvas import Chart
from studio.foundation.drawing.timeline import TimelineRow, Use, timeline
from studio.foundation.roles import Capability
from studio.web.pages.ruled import GET, page

#: Days that are looked ahead; rows of the drawing, and rows of each list, on this one page.
AHEAD = 60
DRAWN = 10
SHOWN = 8
LISTED = 20


@page(Capability.READ, methods=GET)
def buying(request: HttpRequest) -> HttpResponse:
    """What is bought and runs short in the days to come, alerts, and orders that are open."""
    today = timezone.localdate()
    bought = Material.objects.filter(active=True).exclude(kind__in=[k.value for k in MADE_HERE])
    projected = project_materials(on=today, days=AHEAD, materials=bought)
    found = running_out(projected)
    alerts = alerts_found(on=today, without=hidden_kinds(request.user)).order_by("-id")
    orders = list(orders_listed().order_by("-id")[: SHOWN + 1])
    listed = list(alerts[: SHOWN + 1])
    context = {
        "kept": len(projected.materials),
        "unknown": use_not_known(projected),
        "ahead": AHEAD,
        "today": today,
        **_answer(found, today),
        "found": found[:LISTED],
        "count": len(found),
        "left": max(0, len(found) - LISTED),
        "drawn": _drawing(found, today),
        "alerts": shown_alerts(listed[:SHOWN], titles_for(request.user)),
        "more_alerts": len(listed) > SHOWN,
        "put_off": PUT_OFF,
        "back": "buying",
        "orders": orders[:SHOWN],
        "more_orders": len(orders) > SHOWN,
    }
    return render(request, "inventory/buying/running_out.html", context)


def _answer(found: Sequence[RunningOut], today: date) -> dict[str, Any]:
    """Until when there is enough, and which materials run out first."""
    short = [each.outlook for each in found if each.outlook.first_short_on]
    first = short[0].first_short_on if short else None
    return {
        "short": len(short),
        "first": [each.material for each in short if each.first_short_on == first],
        "short_now": first is not None and first <= today,
        "enough_until": None if first is None else first - timedelta(days=1),
    }


def _drawing(found: Sequence[RunningOut], today: date) -> Chart | None:
    if not found:
        return None
    rows = [
        TimelineRow(
            label=each.outlook.material.name,
            uses=[
                Use(label=one.kind, start=one.first, end=one.last, state=one.kind)
                for one in each.stretches
            ],
        )
        for each in found[:DRAWN]
    ]
    return timeline(
        prefix="short",
        title=f"What runs low and short in the next {AHEAD} days",
        rows=rows,
        first=today,
        last=today + timedelta(days=AHEAD - 1),
        today=today,
    )
