"""Purchase orders as lists show them, and what has come of one."""

from django.db.models import Count, F, OuterRef, Q, QuerySet, Subquery, Sum

from inventory.models.buying.orders import PurchaseOrder, PurchaseOrderLine
from inventory.models.receiving.deliveries import Delivery
from studio.foundation.model_fields import MoneyField

OPEN = (PurchaseOrder.State.DRAFT, PurchaseOrder.State.PLACED)


def orders_listed(*, text: str = "", state: str = "") -> "QuerySet[PurchaseOrder]":
    """Orders with `goods` (ten-thousandths), `lines_count` and `lines_open`.

    Without a state those that are drafted or placed; "all" is every one. `text` is a piece of the
    order's code or of the supplier's name.
    """
    lines = PurchaseOrderLine.objects.filter(order=OuterRef("pk")).order_by().values("order")
    still_open = Q(received__lt=F("amount"))
    found = PurchaseOrder.objects.select_related("supplier").annotate(
        goods=Subquery(
            lines.annotate(total=Sum("price")).values("total"), output_field=MoneyField()
        ),
        lines_count=Subquery(lines.annotate(count=Count("pk")).values("count")),
        lines_open=Subquery(lines.annotate(count=Count("pk", filter=still_open)).values("count")),
    )
    if text:
        found = found.filter(Q(code__icontains=text) | Q(supplier__name__icontains=text))
    if state == "all":
        return found
    return found.filter(state=state) if state else found.filter(state__in=OPEN)


def deliveries_of(order: PurchaseOrder) -> "QuerySet[Delivery]":
    """The deliveries that were booked against an order, the earliest first."""
    return (
        Delivery.objects.filter(lines__order_line__order=order)
        .distinct()
        .order_by("received_on", "id")
    )
