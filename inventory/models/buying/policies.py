"""What the studio aims at when it reorders: how sure, at which cost, how long before the date."""

from decimal import Decimal

from django.db import models
from django.db.models import Q
from django.db.models.functions import Coalesce

from inventory.models.catalog.materials import Material
from studio.foundation.model_fields import FixedPointField, MoneyField, rules
from studio.models import Revised


class PolicySettings(Revised):
    """Aims of reordering for one material; without a material, for all that have none of their own.

    `service_level` is the chance that an order comes before the stock is used up, `order_cost`
    what an order costs beside its goods, `holding_share` what a year of holding costs as a share
    of the value, and `time_to_use_days` how long before its best before stock must be used. What
    is empty is taken from the studio's row, and from the product's defaults where that is empty.
    """

    material = models.OneToOneField(
        Material,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="policy_settings",
    )
    service_level = FixedPointField(places=6, null=True, blank=True)
    order_cost = MoneyField(null=True, blank=True)
    holding_share = FixedPointField(places=6, null=True, blank=True)
    time_to_use_days = models.PositiveIntegerField(null=True, blank=True)

    class Meta:
        verbose_name_plural = "policy settings"
        constraints = [
            models.UniqueConstraint(
                Coalesce("material_id", 0), name="one_policy_settings_per_material"
            ),
            *rules(
                policy_service_level=Q(service_level__isnull=True)
                | Q(service_level__gte=Decimal("0.5"), service_level__lt=1),
                policy_order_cost=Q(order_cost__isnull=True) | Q(order_cost__gt=0),
                policy_holding_share=Q(holding_share__isnull=True)
                | Q(holding_share__gt=0, holding_share__lte=5),
            ),
        ]

    def __str__(self) -> str:
        return f"policy settings of {self.material_id or 'the studio'}"
