"""What was made of lots here, went into them, and was used or sold of them since."""

from collections.abc import Iterable

from django.db.models import F, OuterRef, Q, Subquery, Sum

from inventory.domain.counting.made import Made
from inventory.domain.stock.ledger import Verb
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import LotLink

_PRODUCED = Q(verb=Verb.PRODUCE.value)
_GONE = Q(verb__in=[Verb.CONSUME.value, Verb.SHIP.value, Verb.RETURN.value])


def made_here(lots: Iterable[int]) -> dict[int, Made]:
    """By id, those of these lots that were made here; what was bought is left out. One query."""
    # Boxes are packed around bars: they add no mass to them, and pieces are no mass.
    links = LotLink.objects.filter(
        child=OuterRef("lot"),
        stays=True,
        parent__material__counted=False,
        child__material__counted=False,
    )
    rows = (
        StockEntry.objects.filter(lot__in=list(lots))
        .order_by()
        .values("lot", steam=F("lot__steam"))
        .annotate(
            made=Sum("on_hand", filter=_PRODUCED),
            moved=Sum("on_hand", filter=_GONE, default=0),
            went_in=Subquery(
                links.order_by().values("child").annotate(mass=Sum("amount")).values("mass")
            ),
        )
        .filter(made__gt=0)
    )
    # PostgreSQL sums integers into decimals.
    return {
        row["lot"]: Made(
            made=int(row["made"]),
            went_in=max(int(row["went_in"] or 0) - int(row["steam"]), 0),
            gone=-int(row["moved"]),
        )
        for row in rows
    }
