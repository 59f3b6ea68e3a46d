"""Reservations: stock promised to a batch, whole or not at all."""

from django.db import models
from django.db.models import F, Q

from inventory.models.stock.lots import Lot
from studio.foundation.doers import DoerField
from studio.foundation.model_fields import StockField, rules


class ReservationState(models.TextChoices):
    """A reservation ends exactly once."""

    OPEN = "open"
    CONSUMED = "consumed"
    RELEASED = "released"
    EXPIRED = "expired"


class Reservation(models.Model):
    """Stock held for `holder` ("batch:B-00012"); at most one open reservation per holder."""

    holder = models.CharField(max_length=80)
    state = models.CharField(
        max_length=10, choices=ReservationState.choices, default=ReservationState.OPEN
    )
    expires_on = models.DateField(null=True, blank=True)
    created_at = models.DateTimeField(auto_now_add=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    by = DoerField()

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["holder"], condition=Q(state="open"), name="one_open_reservation_per_holder"
            ),
            *rules(
                reservation_closed_at=Q(state="open", closed_at__isnull=True)
                | (~Q(state="open") & Q(closed_at__isnull=False))
            ),
        ]

    def __str__(self) -> str:
        return f"{self.holder} ({self.state})"


class ReservationLine(models.Model):
    """What one lot holds for a reservation; `remaining` falls to 0 when it is settled."""

    reservation = models.ForeignKey(Reservation, on_delete=models.PROTECT, related_name="lines")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="reservation_lines")
    amount = StockField()
    remaining = StockField()

    class Meta:
        ordering = ["id"]
        constraints = rules(
            one_line_per_lot_and_reservation=("reservation", "lot"),
            reservation_line_amounts=Q(amount__gt=0, remaining__gte=0, remaining__lte=F("amount")),
        )

    def __str__(self) -> str:
        return f"{self.reservation_id}: {self.remaining} of {self.lot_id}"
