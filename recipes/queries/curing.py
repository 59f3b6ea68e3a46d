"""Which batches have cured long enough."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from recipes.models import Batch, BatchState


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
