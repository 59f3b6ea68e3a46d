"""Rows that belong to the studio as a whole: who may do what, numbering, answered requests."""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any, ClassVar, TypeVar

from django.conf import settings
from django.db import models
from django.db.models import Q

from studio.foundation.doers import DoerField
from studio.foundation.errors import NotFound, StateConflict
from studio.foundation.model_fields import CodeField, rules
from studio.foundation.roles import Role
from studio.work.digests import Digest
from studio.work.jobs import Job, JobState
from studio.work.leases import Leased

__all__ = [
    "ChangedMeanwhile",
    "Digest",
    "IdempotencyRecord",
    "ImportRun",
    "Job",
    "JobState",
    "Membership",
    "Numbering",
    "Preference",
    "Revised",
    "ScheduleClaim",
    "WebhookDelivery",
    "WebhookTarget",
]

Row = TypeVar("Row", bound=models.Model)
#: Looks at a locked row, and raises when it is not the one that was read before.
Unchanged = Callable[[Any], None]


class ChangedMeanwhile(StateConflict):
    """Somebody saved it after this form was opened: look at it and repeat the change."""

    code = "changed-meanwhile"
    title = "It was changed since you opened it"
    told = (
        "Somebody else saved it after you opened this page. What you typed, if anything, is still "
        "here: open it in a second window, compare, and do it again."
    )


class Revised(models.Model):
    """Master data that people edit: `revision` goes up by one with each update (for If-Match).

    `changed_by` is who saved it last, at `updated_at`.
    """

    revision = models.PositiveIntegerField(default=1, editable=False)
    created_at = models.DateTimeField(auto_now_add=True)
    updated_at = models.DateTimeField(auto_now=True)
    changed_by = DoerField(latest=True, editable=False, db_index=False)

    class Meta:
        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> None:
        names = kwargs.get("update_fields")
        if names is not None and "updated_at" in names:
            kwargs["update_fields"] = {*names, "changed_by"}
        super().save(*args, **kwargs)


def lock_kept(model: type[Row], pk: Any, unchanged: Unchanged | None = None) -> Row:
    """A row that is about to change, locked until the end of the transaction. One query.

    Raises NotFound, and what `unchanged` raises.
    """
    row = model._default_manager.select_for_update().filter(pk=pk).first()
    if row is None:
        raise NotFound(f"There is no {model._meta.verbose_name} with the id {pk}.")
    if unchanged is not None:
        unchanged(row)
    return row


class Numbering(models.Model):
    """The last number given out under a prefix, for the studio's own codes (L-00042, B-00007)."""

    prefix = models.CharField(max_length=16, primary_key=True)
    last = models.PositiveBigIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.prefix}-{self.last:05d}"


class Membership(models.Model):
    """An account's role in the studio."""

    user = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="membership"
    )
    role = models.CharField(max_length=10, choices=Role)
    may_see_costs = models.BooleanField(
        default=False, help_text="Owners always may; others when an owner allows it."
    )
    changed_at = models.DateTimeField(auto_now=True)
    changed_by = DoerField(latest=True, editable=False, db_index=False)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=models.Q(role__in=[role.value for role in Role]),
                name="studio_membership_known_role",
            ),
        )

    def __str__(self) -> str:
        return f"{self.user} ({self.role})"


class IdempotencyRecord(models.Model):
    """The answer already given to one stock-changing request, kept to be repeated."""

    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+", db_index=False
    )
    key = models.CharField(max_length=200)
    method = models.CharField(max_length=10)
    path = models.CharField(max_length=2000, help_text="With the query string.")
    body_digest = models.CharField(max_length=64, help_text="SHA-256 of the body, in hex.")
    status = models.PositiveSmallIntegerField()
    headers = models.JSONField(default=dict)
    body = models.BinaryField()
    created_at = models.DateTimeField(auto_now_add=True, db_index=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=("user", "key"), name="studio_idempotency_one_answer"),
        )

    def __str__(self) -> str:
        return f"{self.method} {self.path} ({self.status})"


class ScheduleClaim(models.Model):
    """The last period of a scheduled job that a scheduler claimed: each is claimed once."""

    name = models.CharField(max_length=200, primary_key=True)
    period = models.BigIntegerField()
    milliseconds = models.PositiveBigIntegerField(help_text="How long a period is.")
    claimed_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.name} {self.period}"


class ImportRun(Leased):
    """A table that somebody handed in: its file, how far it was checked, and what came of it.

    `checking`: a worker looks at every row. `checked`: a dry run is over; its file waits to be
    imported. `importing`: all rows go in together. It ends `done`, or `refused` with nothing
    changed. `lease_until` says until when the worker that has it may take; then another may. The
    file is kept until the end.
    """

    class State(models.TextChoices):
        CHECKING = "checking"
        CHECKED = "checked"
        IMPORTING = "importing"
        DONE = "done"
        REFUSED = "refused"

    class Mode(models.TextChoices):
        """Whether rows whose code is there already are refused, or change what is there."""

        CREATE = "create"
        CHANGE = "change"

    taken_values: ClassVar[Mapping[str, Any]] = {"taken": True}

    table = models.CharField(max_length=40)
    mode = models.CharField(max_length=6, choices=Mode)
    dry_run = models.BooleanField(default=False)
    file_name = models.CharField(max_length=200, blank=True)
    content = models.BinaryField()
    state = models.CharField(max_length=9, choices=State, default=State.CHECKING)
    rows_total = models.PositiveIntegerField(default=0)
    rows_checked = models.PositiveIntegerField(default=0)
    created = models.PositiveIntegerField(default=0)
    changed = models.PositiveIntegerField(default=0)
    unchanged = models.PositiveIntegerField(default=0)
    faults = models.JSONField(default=list, help_text="Objects of row, column, code and message.")
    faults_total = models.PositiveIntegerField(default=0)
    taken = models.BooleanField(default=False, help_text="A worker has it.")
    lease_until = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+", db_index=True
    )
    created_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-id",)
        constraints = (
            models.CheckConstraint(
                condition=models.Q(
                    state__in=["checking", "checked", "importing"], finished_at__isnull=True
                )
                | models.Q(state__in=["done", "refused"], finished_at__isnull=False),
                name="studio_import_run_finished_at",
            ),
        )
        indexes = (
            models.Index(
                fields=("lease_until",),
                condition=models.Q(finished_at__isnull=True),
                name="studio_import_run_overdue",
            ),
        )

    def __str__(self) -> str:
        return f"{self.table} {self.pk} ({self.state})"

    @classmethod
    def to_do(cls, now: datetime) -> Q:
        return Q(finished_at=None, state__in=(cls.State.CHECKING, cls.State.IMPORTING))


class Preference(models.Model):
    """How one person likes to see things. It changes what is shown, never what is kept."""

    class Units(models.TextChoices):
        METRIC = "metric", "Metric first (kg, g, mL)"
        US = "us", "US customary first (lb, oz, fl oz)"

    class Dates(models.TextChoices):
        ISO = "iso", "2026-03-09"
        LOCALE = "locale", "As the studio's locale writes it"

    class Theme(models.TextChoices):
        AUTO = "auto", "As the device says"
        LIGHT = "light", "Light"
        DARK = "dark", "Dark"

    user = models.OneToOneField(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="preference"
    )
    units = models.CharField(max_length=6, choices=Units, default=Units.METRIC)
    dates = models.CharField(max_length=6, choices=Dates, default=Dates.ISO)
    theme = models.CharField(max_length=5, choices=Theme, default=Theme.AUTO)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=models.Q(units__in=["metric", "us"])
                & models.Q(dates__in=["iso", "locale"])
                & models.Q(theme__in=["auto", "light", "dark"]),
                name="studio_preference_known_choices",
            ),
        )

    def __str__(self) -> str:
        return f"{self.user}: {self.units}, {self.dates}, {self.theme}"


class WebhookTarget(Revised):
    """An address that is told of alerts by a signed request; no `kinds` means every kind."""

    code = CodeField(max_length=40, unique=True)
    url = models.URLField(max_length=500)
    secret = models.CharField(max_length=120)
    kinds = models.JSONField(default=list, blank=True)
    active = models.BooleanField(default=True)
    note = models.TextField(blank=True, max_length=2000)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return self.code


class WebhookDelivery(Leased):
    """One event for one target: written with the alert, sent afterwards until it is taken.

    `event_id` is the same each time it is sent, so that the other side can tell a repetition.
    With `dead_at` set nothing more is tried until somebody asks for it.
    """

    lease_column: ClassVar[str] = "claimed_until"

    target = models.ForeignKey(WebhookTarget, on_delete=models.CASCADE, related_name="deliveries")
    event_id = models.CharField(max_length=80)
    event = models.CharField(max_length=40)
    body = models.TextField()
    created_at = models.DateTimeField(auto_now_add=True)
    next_attempt_at = models.DateTimeField()
    claimed_until = models.DateTimeField(null=True, blank=True)
    delivered_at = models.DateTimeField(null=True, blank=True)
    dead_at = models.DateTimeField(null=True, blank=True)
    status = models.PositiveSmallIntegerField(null=True, blank=True)

    class Meta:
        ordering = ["-id"]
        verbose_name_plural = "webhook deliveries"
        constraints = rules(
            one_delivery_per_event_and_target=("target", "event_id"),
            webhook_delivered_or_dead=Q(delivered_at__isnull=True) | Q(dead_at__isnull=True),
        )
        indexes = [
            models.Index(
                fields=["next_attempt_at"],
                condition=Q(delivered_at__isnull=True, dead_at__isnull=True),
                name="webhook_waiting",
            )
        ]

    def __str__(self) -> str:
        return f"{self.event_id} to {self.target_id}"

    @classmethod
    def to_do(cls, now: datetime) -> Q:
        return Q(delivered_at__isnull=True, dead_at__isnull=True, next_attempt_at__lte=now)
