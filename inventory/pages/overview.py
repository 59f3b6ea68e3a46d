"""What runs low, for the first page."""

from django.utils import timezone

from inventory.domain.packs import friendly_amount
from inventory.models import Alert
from inventory.queries.alerts import last_run, open_alerts
from inventory.services.alerts import ALERTS_JOB
from inventory.services.low_stock import KIND
from studio.pages.panels import Cell, Column, Panel, State

SHOWN = 12


def low_stock_panel(_user: object) -> Panel:
    """The materials with an open alert: what is projected, against which point. Two queries."""
    today = timezone.localdate()
    alerts = open_alerts(kind=KIND, on=today)
    looked = last_run(ALERTS_JOB)
    rows = tuple(
        (
            alert.name,
            _amount(alert, "projected"),
            _amount(alert, "reorder_point"),
            Cell("short" if alert.figures["projected"] < 0 else "low", state=State.SOON),
            f"{(today - timezone.localdate(alert.opened_at)).days} days",
        )
        for alert in alerts[:SHOWN]
    )
    count = len(alerts)
    return Panel(
        title="Runs low",
        answer=f"{count} material{'' if count == 1 else 's'} at or below the reorder point."
        if count
        else "Nothing is at or below its reorder point."
        if looked
        else "Nobody has looked yet: the background job runs while the studio is served.",
        columns=(
            Column("Material"),
            Column("Projected", number=True),
            Column("Reorder point", number=True),
            Column("State"),
            Column("Since", number=True, spare=True),
        ),
        rows=rows,
        empty="A material that falls to its reorder point is listed here, and told by mail once.",
        more="/api/v1/alerts/",
    )


def _amount(alert: Alert, name: str) -> str:
    return friendly_amount(alert.figures[name] or 0, counted=alert.figures["unit"] == "each")
