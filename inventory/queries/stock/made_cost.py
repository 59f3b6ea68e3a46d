"""What was ever put on made lots."""

from collections.abc import Iterable

from django.db.models import Sum

from inventory.domain.stock.ledger import Verb
from inventory.models.stock.ledger import StockEntry

#: By these a lot gains cost when it is made and finished; what leaves it takes cost away again.
MADE = (Verb.PRODUCE.value, Verb.ADD_COST.value)


def cost_put_on(lots: Iterable[int]) -> dict[int, int]:
    """All cost that making and finishing put on lots, by lot id. One query."""
    rows = (
        StockEntry.objects.filter(lot__in=list(lots), verb__in=MADE)
        .values_list("lot")
        .annotate(total=Sum("cost"))
        .order_by("lot")
    )
    return {lot: int(total) for lot, total in rows}
