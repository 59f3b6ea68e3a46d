"""Alerts, and when they were looked for."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from inventory.models.catalog.materials import Material


class Alert(models.Model):
    """Something to look after: one open alert a cause, with the figures behind it.

    `kind` names the sort of cause ("low-stock"), `subject` what it is about ("material:olive").
    Amounts among the `figures` are in the stock unit of `material`. An open alert may be
    acknowledged (somebody has seen it) and snoozed (nothing is shown or told until that day).
    `digest` is the mail that told of it last.
    """

    kind = models.CharField(max_length=30)
    subject = models.CharField(max_length=120)
    name = models.CharField(max_length=200, help_text="What it is about, in words.")
    material = models.ForeignKey(
        Material, on_delete=models.PROTECT, null=True, blank=True, related_name="alerts"
    )
    figures = models.JSONField(default=dict)
    reason = models.CharField(max_length=400)
    opened_at = models.DateTimeField()
    updated_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)
    acknowledged_at = models.DateTimeField(null=True, blank=True)
    acknowledged_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    snoozed_until = models.DateField(null=True, blank=True)
    snoozed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="+",
        db_index=False,
    )
    digest = models.ForeignKey(
        "studio.Digest", on_delete=models.SET_NULL, null=True, blank=True, related_name="alerts"
    )

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "subject"],
                condition=Q(closed_at__isnull=True),
                name="one_open_alert_per_cause",
            )
        ]
        indexes = [
            models.Index(
                fields=["kind", "material"],
                condition=Q(closed_at__isnull=True),
                name="open_alert_by_material",
            )
        ]

    def __str__(self) -> str:
        return f"{self.subject}: {self.reason}"


class JobRun(models.Model):
    """When a scheduled job last did its work, so that a job that stopped running is noticed."""

    name = models.CharField(max_length=60, primary_key=True)
    last_run_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.name} at {self.last_run_at}"
