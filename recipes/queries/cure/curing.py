"""Which batches have cured long enough."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from inventory.domain.stock.lots import LotStatus
from recipes.models.bench.batches import Batch, BatchState


@dataclass(frozen=True, slots=True)
class Cured:
    """A cut batch whose day has come, with its bars."""

    batch: str
    product: str
    ready_on: date
    bars: int


def cure_ready_batches(*, on: date) -> list[Cured]:
    """Cut batches that are ready on a day and not yet booked as cured. One query."""
    rows: Any = (
        Batch.objects.filter(state=BatchState.CUT, cure_ready_on__lte=on)
        .order_by("cure_ready_on", "code")
        .values_list("code", "version__formula__name", "cure_ready_on", "bars_good")
    )
    return [Cured(*row) for row in rows]


def curing_bars(products: Iterable[int]) -> list[Batch]:
    """Cut batches of these bar materials (ids) of which bars still cure in stock. One query.

    Each comes with its version, formula and lot of bars; blocked bars are left out.
    """
    return list(
        Batch.objects.filter(
            state=BatchState.CUT,
            version__formula__product__in=list(products),
            bar_lot__status=LotStatus.QUARANTINE.value,
            bar_lot__on_hand__gt=0,
        )
        .select_related("version__formula", "bar_lot")
        .order_by("id")
    )
