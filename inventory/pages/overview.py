"""What the shelf has to say for today: alerts, and deliveries that are due."""

from datetime import timedelta
from typing import Any

from django.utils import timezone

from inventory.queries.alerts.alerts import last_run, open_alerts
from inventory.queries.stock.on_order import orders_due
from inventory.services.alerts.alerts import ALERTS_JOB
from inventory.services.alerts.registry import CAUSES
from studio.foundation.roles import may_see_costs
from studio.foundation.units.writing import how_many
from studio.web.pages.frame import preferences_of
from studio.web.pages.panels import Cell, Column, Panel, State
from studio.web.pages.places import page_address
from studio.web.pages.writing import written_day

SHOWN = 12
#: Deliveries are told of so many days before they are expected.
AHEAD = timedelta(days=7)


def alerts_panel(user: Any) -> Panel:
    """What was found to need looking after, the oldest first. Two queries."""
    today = timezone.localdate()
    costs = may_see_costs(user)
    titles = {cause.kind: cause.title for cause in CAUSES if costs or not cause.shows_costs}
    alerts = [alert for alert in open_alerts(on=today) if alert.kind in titles]
    looked = last_run(ALERTS_JOB)
    rows = tuple(
        (
            Cell(titles[alert.kind].lower(), state=State.SOON),
            Cell(alert.name, href=_page_of(alert)),
            alert.reason,
            _since((today - timezone.localdate(alert.opened_at)).days),
        )
        for alert in alerts[:SHOWN]
    )
    count = len(alerts)
    shown = f" The {SHOWN} oldest stand here." if count > SHOWN else ""
    return Panel(
        title="Alerts",
        answer=f"{how_many(count, 'thing')} to look after.{shown}"
        if count
        else "Nothing is low, late or about to expire."
        if looked
        else "Nobody has looked yet: the background job runs while the studio is served.",
        columns=(
            Column("State"),
            Column("About"),
            Column("Why"),
            Column("Since", number=True, spare=True),
        ),
        rows=rows,
        empty="A material that falls to its reorder point, a late delivery or a lot near its best "
        "before is listed here, and told by mail once.",
        more=page_address("alerts-page") if count > SHOWN else "",
        now=(f"{how_many(count, 'alert')} to look after",) if count else (),
    )


def _page_of(alert: Any) -> str:
    return page_address("material-page", alert.material.code) if alert.material else ""


def _since(days: int) -> str:
    return "today" if days <= 0 else how_many(days, "day")


def deliveries_panel(user: Any) -> Panel:
    """Placed orders that are due within a week, and those that are late. One query."""
    today, dates = timezone.localdate(), preferences_of(user).dates
    due, last = orders_due(until=today + AHEAD), written_day(today + AHEAD, dates)
    late = [order for order in due if order.expected_on < today]
    here = [order for order in due if order.expected_on == today]
    now = []
    if here:
        now.append(f"{how_many(len(here), 'delivery', 'deliveries')} due today")
    if late:
        now.append(f"{how_many(len(late), 'delivery', 'deliveries')} late")
    return Panel(
        title="Deliveries due",
        answer=f"{how_many(len(due), 'order')} due by {last}."
        if due
        else "No placed order is due within a week.",
        columns=(
            Column("Order"),
            Column("Supplier"),
            Column("Expected", whole=True),
            Column("State"),
        ),
        rows=tuple(
            (
                Cell(order.code, href=page_address("purchase-order-page", order.code)),
                order.supplier.name,
                written_day(order.expected_on, dates),
                Cell("late", state=State.SOON)
                if order.expected_on < today
                else "today"
                if order.expected_on == today
                else "on its way",
            )
            for order in due[:SHOWN]
        ),
        empty="An order that is placed stands here from a week before it is expected.",
        now=tuple(now),
    )
