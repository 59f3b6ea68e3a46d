"""Holds: why a lot may not be used, who said so, and what lifted it."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from inventory.domain.stock.holds import DECIDED, HELD_BY_HAND, LONGEST_REASON, Cause, Outcome
from inventory.models.stock.lots import Lot
from studio.foundation.doers import DoerField
from studio.foundation.model_fields import FixedPointField, rules

CAUSES = [(cause.value, cause.name.replace("_", " ").capitalize()) for cause in Cause]
OUTCOMES = [(outcome.value, outcome.name.capitalize()) for outcome in Outcome]
_OPEN = Q(
    lifted_at__isnull=True,
    lifted_on__isnull=True,
    lifted_by__isnull=True,
    lifted_reason="",
    outcome="",
)
_LIFTED = Q(lifted_at__isnull=False, lifted_on__isnull=False)
_DECIDED = Q(cause__in=sorted(DECIDED))
_MEASURED = Q(outcome=Outcome.MEASURED.value)


class Hold(models.Model):
    """Why a lot may not be used since a day; open until it is lifted. Nothing of it is deleted.

    `reference` names its document ("batch:B-00007", "recall:R-00002"), `by` is who opened it, or
    the schedule. `until` is the day on which the cure of opening stock is over.
    `inventory.services.stock.holds` alone writes here; the lot's state and its reason follow.
    """

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="holds", db_index=False)
    cause = models.CharField(max_length=12, choices=CAUSES)
    reference = models.CharField(max_length=80, blank=True)
    reason = models.CharField(max_length=LONGEST_REASON, blank=True)
    until = models.DateField(null=True, blank=True)
    on = models.DateField()
    at = models.DateTimeField()
    by = DoerField()
    lifted_on = models.DateField(null=True, blank=True)
    lifted_at = models.DateTimeField(null=True, blank=True)
    lifted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    lifted_reason = models.CharField(max_length=LONGEST_REASON, blank=True)
    outcome = models.CharField(max_length=12, choices=OUTCOMES, blank=True)
    free_alkali = FixedPointField(places=6, null=True, blank=True)
    measured_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            *rules(
                hold_open_or_lifted=_OPEN | _LIFTED,
                hold_decided_with_outcome=_OPEN
                | (_DECIDED & ~Q(outcome="") & ~Q(lifted_reason=""))
                | (~_DECIDED & Q(outcome="")),
                hold_measured_with_value=(
                    _MEASURED & Q(free_alkali__gte=0, measured_on__isnull=False)
                )
                | (~_MEASURED & Q(free_alkali__isnull=True, measured_on__isnull=True)),
                hold_lifted_after_it_was_opened=Q(lifted_on__isnull=True)
                | Q(lifted_on__gte=models.F("on")),
            ),
            models.UniqueConstraint(
                fields=["lot", "cause", "reference"],
                condition=Q(lifted_at__isnull=True) & ~Q(cause__in=sorted(HELD_BY_HAND)),
                name="one_open_hold_per_document",
            ),
        ]
        indexes = [
            models.Index(fields=["lot"], name="hold_by_lot"),
            models.Index(
                fields=["reference", "cause"],
                name="hold_open_by_document",
                condition=Q(lifted_at__isnull=True),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lot_id}: {self.cause}"

    @property
    def open(self) -> bool:
        """Whether it still keeps the lot from being used."""
        return self.lifted_at is None
