"""Counts: what was found on the shelf against what the books said, of one lot or blind of many."""

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q

from inventory.domain.counting.session import SessionState
from inventory.models.catalog.materials import CODE_LENGTH
from inventory.models.stock.lots import Location, Lot
from studio.foundation.doers import DoerField
from studio.foundation.model_fields import CodeField, MoneyField, StockField, rules


class StockCount(models.Model):
    """One lot counted or weighed; the difference is an entry of the same posting."""

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="counts")
    posting = models.UUIDField(default=uuid.uuid4)
    counted_on = models.DateField()
    expected = StockField()
    found = StockField()
    reason = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField(auto_now_add=True)
    by = DoerField()

    class Meta:
        ordering = ["-id"]
        constraints = rules(count_not_negative=Q(found__gte=0, expected__gte=0))

    def __str__(self) -> str:
        return f"{self.lot_id}: {self.found}"


class CountSession(models.Model):
    """A count over a location or a list of lots; it is posted or cancelled once."""

    code = CodeField(max_length=CODE_LENGTH, unique=True)
    location = models.ForeignKey(
        Location, on_delete=models.PROTECT, null=True, blank=True, related_name="count_sessions"
    )
    state = models.CharField(
        max_length=10,
        choices=[(state.value, state.value) for state in SessionState],
        default=SessionState.OPEN.value,
    )
    counted_on = models.DateField()
    note = models.CharField(max_length=160, blank=True)
    opened_at = models.DateTimeField(auto_now_add=True)
    by = DoerField()
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        ordering = ["-id"]
        constraints = rules(
            count_session_closed_at=Q(state="open", closed_at__isnull=True)
            | (~Q(state="open") & Q(closed_at__isnull=False))
        )

    def __str__(self) -> str:
        return self.code

    @property
    def document(self) -> str:
        """The reference of its entries in the ledger."""
        return f"count:{self.code}"


class CountLine(models.Model):
    """One lot of a session: what was found, and what the books held at that moment.

    `count` and `value` (the cost that was added or taken) are there once the session is posted.
    """

    session = models.ForeignKey(CountSession, on_delete=models.PROTECT, related_name="lines")
    position = models.PositiveIntegerField()
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="count_lines")
    found = StockField(null=True, blank=True)
    expected = StockField(null=True, blank=True)
    reason = models.CharField(max_length=200, blank=True)
    counted_at = models.DateTimeField(null=True, blank=True)
    counted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, blank=True, related_name="+"
    )
    count = models.OneToOneField(
        StockCount, on_delete=models.PROTECT, null=True, blank=True, related_name="session_line"
    )
    value = MoneyField(null=True, blank=True)

    class Meta:
        ordering = ["session_id", "position"]
        constraints = rules(
            one_line_per_count_position=("session", "position"),
            one_line_per_counted_lot=("session", "lot"),
            count_line_amounts=Q(found__isnull=True, expected__isnull=True)
            | Q(found__gte=0, expected__gte=0),
        )

    def __str__(self) -> str:
        return f"{self.session_id}.{self.position}"
