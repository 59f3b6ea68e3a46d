"""Alerts, the digest mails that tell of them, and the jobs that look for them."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from inventory.models.materials import Material


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
    digest = models.ForeignKey(
        Digest, on_delete=models.SET_NULL, null=True, blank=True, related_name="alerts"
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


class JobState(models.TextChoices):
    """A job ends as done or failed, and then keeps its outcome."""

    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"


class Job(models.Model):
    """Work that was asked for once and must be done once, whatever happens to a worker.

    The queue only wakes a worker up; this row is what is to be done, who has it until when, and
    what came of it. Once `lease_until` has passed, a waiting job is sent again and a running one
    may be taken by another worker. A job with parts is done when all of its parts are.
    """

    name = models.CharField(max_length=60)
    arguments = models.JSONField(default=dict)
    parent = models.ForeignKey(
        "self", on_delete=models.CASCADE, null=True, blank=True, related_name="parts"
    )
    state = models.CharField(max_length=8, choices=JobState.choices, default=JobState.WAITING)
    lease_until = models.DateTimeField()
    attempts = models.PositiveIntegerField(default=0)
    outcome = models.JSONField(default=dict)
    trouble = models.CharField(max_length=200, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=["waiting", "running"], finished_at__isnull=True)
                | Q(state__in=["done", "failed"], finished_at__isnull=False),
                name="job_finished_at",
            )
        ]
        indexes = [
            models.Index(
                fields=["lease_until"],
                condition=Q(state__in=["waiting", "running"]),
                name="job_overdue",
            )
        ]

    def __str__(self) -> str:
        return f"{self.name} {self.pk} ({self.state})"
