"""What runs low, for the first page."""

from django.utils import timezone

from inventory.domain.packs import friendly_amount
from inventory.queries.alerts import last_run, open_alerts
from inventory.services.alerts import LOW_STOCK_JOB
from studio.pages.panels import Cell, Column, Panel, State

SHOWN = 12


def low_stock_panel(_user: object) -> Panel:
    """The materials with an open alert: what is projected, against which point. Two queries."""
    alerts = open_alerts()
    looked = last_run(LOW_STOCK_JOB)
    today = timezone.localdate()
    rows = tuple(
        (
            alert.material.name,
            friendly_amount(alert.projected, counted=alert.material.counted),
            friendly_amount(alert.reorder_point, counted=alert.material.counted),
            Cell("short" if alert.projected < 0 else "low", state=State.SOON),
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
