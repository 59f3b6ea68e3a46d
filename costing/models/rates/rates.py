"""Rates and fees of selling, with the date from which they hold."""

from django.db import models
from django.db.models import Q

from costing.domain.rates.rates import RateKind
from costing.models.bar_cost.packaging import CODE_LENGTH
from costing.models.prices.prices import Tier
from studio.foundation.model_fields import CodeField, FixedPointField, MoneyField, rules
from studio.models import Revised

RATE_KINDS = [(kind.value, kind.name.replace("_", " ").title()) for kind in RateKind]


class Rate(Revised):
    """One rate; a batch is costed with the newest rate in effect on the day it was poured."""

    kind = models.CharField(max_length=20, choices=RATE_KINDS)
    amount = MoneyField()
    effective_from = models.DateField()

    class Meta:
        ordering = ["kind", "-effective_from"]
        constraints = rules(
            one_rate_per_day=("kind", "effective_from"), rate_not_negative=Q(amount__gte=0)
        )

    def __str__(self) -> str:
        return f"{self.kind} from {self.effective_from}"


class Fee(Revised):
    """A fee on sales to a tier (to all without one): a share of the price and so much a sale.

    It holds from a day until the next one of its code and tier begins. One that ends is followed
    by one of zero.
    """

    code = CodeField(max_length=CODE_LENGTH)
    name = models.CharField(max_length=120)
    tier = models.ForeignKey(
        Tier, on_delete=models.PROTECT, null=True, blank=True, related_name="fees"
    )
    share = FixedPointField(places=6, default=0)
    fixed_per_sale = MoneyField(default=0)
    effective_from = models.DateField()

    class Meta:
        ordering = ["code", "tier_id", "-effective_from"]
        constraints = [
            *rules(one_fee_per_day=("code", "tier", "effective_from")),
            models.UniqueConstraint(
                fields=["code", "effective_from"],
                condition=Q(tier__isnull=True),
                name="one_fee_for_all_per_day",
            ),
            *rules(fee_amounts=Q(share__gte=0, share__lt=1, fixed_per_sale__gte=0)),
        ]

    def __str__(self) -> str:
        return f"{self.code} from {self.effective_from}"
