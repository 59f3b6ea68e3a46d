"""Low-stock alerts and the digest mails that tell of them."""

from django.db import models
from django.db.models import Q

from inventory.models.materials import Material
from studio.model_fields import StockField


class Digest(models.Model):
    """One mail to send: written with the alerts it tells of, sent after they are committed.

    `claimed_until` is the lease of the worker that is sending it; a lease that ran out may be
    taken by another. `trouble` says why the last attempt did not send it.
    """

    subject = models.CharField(max_length=200)
    body = models.TextField()
    recipients = models.JSONField(default=list)
    created_at = models.DateTimeField(auto_now_add=True)
    claimed_until = models.DateTimeField(null=True, blank=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveIntegerField(default=0)
    trouble = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return self.subject


class LowStockAlert(models.Model):
    """A material that runs low: one open alert a material, with the numbers behind it."""

    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="alerts")
    opened_at = models.DateTimeField()
    updated_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)
    on_hand = StockField()
    reserved = StockField()
    planned = StockField()
    on_order = StockField()
    projected = StockField()
    reorder_point = StockField()
    reason = models.CharField(max_length=400)
    digest = models.ForeignKey(
        Digest, on_delete=models.SET_NULL, null=True, blank=True, related_name="alerts"
    )

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["material"],
                condition=Q(closed_at__isnull=True),
                name="one_open_alert_per_material",
            )
        ]

    def __str__(self) -> str:
        return f"{self.material_id}: {self.reason}"


class JobRun(models.Model):
    """When a scheduled job last did its work, so that a job that stopped running is noticed."""

    name = models.CharField(max_length=60, primary_key=True)
    last_run_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.name} at {self.last_run_at}"
