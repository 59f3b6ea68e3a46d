"""What was last paid for a material, landed, and what was ever put on made lots."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from django.db.models import F, Sum, Window
from django.db.models.functions import RowNumber

from inventory.domain.stock.ledger import Verb
from inventory.models.stock.ledger import StockEntry


@dataclass(frozen=True, slots=True, kw_only=True)
class Paid:
    """So much of a material (stock units) came in for so much (ten-thousandths) on a day."""

    amount: int
    cost: int
    on: date


def last_paid_for(materials: Iterable[int], *, on: date) -> dict[int, Paid]:
    """The newest purchase of each material up to a day, by material id. One query.

    Deliveries and opening stock count, with their freight. What came for nothing says nothing of
    what it costs to buy again.
    """
    newest = Window(
        RowNumber(),
        partition_by=F("lot__material"),
        order_by=[F("lot__received_on").desc(), F("id").desc()],
    )
    rows = (
        StockEntry.objects.filter(
            verb=Verb.RECEIVE.value,
            cost__gt=0,
            lot__material__in=list(materials),
            lot__received_on__lte=on,
        )
        .annotate(place=newest)
        .filter(place=1)
        .order_by("lot__material")
        .values_list("lot__material", "on_hand", "cost", "lot__received_on")
    )
    return {pk: Paid(amount=amount, cost=cost, on=day) for pk, amount, cost, day in rows}


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
