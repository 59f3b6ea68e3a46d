"""How long suppliers took, from the orders they have filled."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import F, Max, Q

from inventory.domain.buying.policy import LeadTime, LeadTimeSource, learned_lead_time
from inventory.models.buying.orders import PurchaseOrder
from inventory.models.catalog.suppliers import Offer
from inventory.models.receiving.deliveries import DeliveryLine


@dataclass(frozen=True, slots=True)
class LeadTimes:
    """Days from order to delivery: by material and supplier, and by supplier. One per order."""

    of_material: Mapping[tuple[int, int], list[int]]
    of_supplier: Mapping[int, list[int]]

    def of(self, offer: Offer) -> LeadTime:
        """The lead time of an offer: learned of its material, else of its supplier, else stated."""
        key = (offer.material_id, offer.supplier_id)
        return (
            learned_lead_time(self.of_material.get(key, []), LeadTimeSource.MATERIAL)
            or learned_lead_time(
                self.of_supplier.get(offer.supplier_id, []), LeadTimeSource.SUPPLIER
            )
            or LeadTime(mean=offer.days_to_come)
        )


def lead_times() -> LeadTimes:
    """All lead times that deliveries against orders have shown. One query.

    An order counts with the day on which the last of it came: only then the need was met. Lines
    that still wait for something do not count, nor does what came without an order.
    """
    filled = Q(order_line__received__gte=F("order_line__amount")) | Q(
        order_line__order__state=PurchaseOrder.State.CLOSED
    )
    rows = (
        DeliveryLine.objects.filter(filled, order_line__isnull=False)
        .order_by()
        .values_list(
            "order_line__order",
            "order_line__order__supplier",
            "material",
            "order_line__order__ordered_on",
        )
        .annotate(last=Max("delivery__received_on"))
    )
    by_material: dict[tuple[int, int], list[int]] = defaultdict(list)
    whole_orders: dict[tuple[int, int], int] = {}
    for order, supplier, material, ordered_on, last in rows:
        days = max((last - ordered_on).days, 0)
        by_material[material, supplier].append(days)
        whole_orders[order, supplier] = max(whole_orders.get((order, supplier), 0), days)
    by_supplier: dict[int, list[int]] = defaultdict(list)
    for (_, supplier), days in whole_orders.items():
        by_supplier[supplier].append(days)
    return LeadTimes(by_material, by_supplier)
