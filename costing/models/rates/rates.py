"""Rates with the date from which they hold."""

from django.db import models
from django.db.models import Q
from simple_history.models import HistoricalRecords

from costing.domain.rates.rates import RateKind
from studio.foundation.model_fields import MoneyField
from studio.models import Revised

RATE_KINDS = [(kind.value, kind.name.replace("_", " ").title()) for kind in RateKind]


class Rate(Revised):
    """One rate; a batch is costed with the newest rate in effect on the day it was poured."""

    kind = models.CharField(max_length=20, choices=RATE_KINDS)
    amount = MoneyField()
    effective_from = models.DateField()

    history = HistoricalRecords()

    class Meta:
        ordering = ["kind", "-effective_from"]
        constraints = [
            models.UniqueConstraint(fields=["kind", "effective_from"], name="one_rate_per_day"),
            models.CheckConstraint(condition=Q(amount__gte=0), name="rate_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.kind} from {self.effective_from}"
