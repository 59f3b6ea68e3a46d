"""What runs low now, whether anybody was told, and when it was last looked for."""

from datetime import datetime

from inventory.models import JobRun, LowStockAlert


def open_alerts() -> list[LowStockAlert]:
    """The open low-stock alerts with material and digest, oldest first. One query."""
    return list(
        LowStockAlert.objects.filter(closed_at__isnull=True)
        .select_related("material", "digest")
        .order_by("opened_at", "material__code")
    )


def last_run(name: str) -> datetime | None:
    """When a scheduled job last did its work; None when it never did. One query."""
    return JobRun.objects.filter(name=name).values_list("last_run_at", flat=True).first()
