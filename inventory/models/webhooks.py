"""Other programs that are told of alerts, and what was sent to them."""

from django.db import models
from django.db.models import Q

from inventory.models.materials import CODE_LENGTH
from studio.model_fields import CodeField
from studio.models import Revised


class WebhookTarget(Revised):
    """An address that is told of alerts by a signed request; no `kinds` means every kind."""

    code = CodeField(max_length=CODE_LENGTH, unique=True)
    url = models.URLField(max_length=500)
    secret = models.CharField(max_length=120)
    kinds = models.JSONField(default=list, blank=True)
    active = models.BooleanField(default=True)
    note = models.TextField(blank=True, max_length=2000)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.code


class WebhookDelivery(models.Model):
    """One event for one target: written with the alert, sent afterwards until it is taken.

    `event_id` is the same each time it is sent, so that the other side can tell a repetition.
    With `dead_at` set nothing more is tried until somebody asks for it.
    """

    target = models.ForeignKey(WebhookTarget, on_delete=models.CASCADE, related_name="deliveries")
    event_id = models.CharField(max_length=80)
    event = models.CharField(max_length=40)
    body = models.TextField()
    created_at = models.DateTimeField(auto_now_add=True)
    attempts = models.PositiveIntegerField(default=0)
    next_attempt_at = models.DateTimeField()
    claimed_until = models.DateTimeField(null=True, blank=True)
    delivered_at = models.DateTimeField(null=True, blank=True)
    dead_at = models.DateTimeField(null=True, blank=True)
    status = models.PositiveSmallIntegerField(null=True, blank=True)
    trouble = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-id"]
        verbose_name_plural = "webhook deliveries"
        constraints = [
            models.UniqueConstraint(
                fields=["target", "event_id"], name="one_delivery_per_event_and_target"
            ),
            models.CheckConstraint(
                condition=Q(delivered_at__isnull=True) | Q(dead_at__isnull=True),
                name="webhook_delivered_or_dead",
            ),
        ]
        indexes = [
            models.Index(
                fields=["next_attempt_at"],
                condition=Q(delivered_at__isnull=True, dead_at__isnull=True),
                name="webhook_waiting",
            )
        ]

    def __str__(self) -> str:
        return f"{self.event_id} to {self.target_id}"
