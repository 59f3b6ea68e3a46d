"""What runs low now, and whether anybody was told."""

from inventory.models import LowStockAlert


def open_alerts() -> list[LowStockAlert]:
    """The open low-stock alerts with material and digest, oldest first. One query."""
    return list(
        LowStockAlert.objects.filter(closed_at__isnull=True)
        .select_related("material", "digest")
        .order_by("opened_at", "material__code")
    )
