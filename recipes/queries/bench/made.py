"""Batches of a formula that are done."""

from django.db.models import F, Window
from django.db.models.functions import RowNumber

from recipes.models.bench.batches import Batch, BatchState


def last_made(formula: str, *, last: int) -> list[Batch]:
    """The last cured batches of a formula (by code) with good bars, so many of each mold.

    The newest first, each with its version, mold and lot of bars. One query.
    """
    rank = Window(
        RowNumber(),
        partition_by=F("mold"),
        order_by=[F("poured_on").desc(), F("id").desc()],
    )
    return list(
        Batch.objects.filter(
            version__formula__code=formula, state=BatchState.CURED, bars_good__gt=0
        )
        .annotate(rank=rank)
        .filter(rank__lte=last)
        .select_related("version", "mold", "bar_lot")
        .order_by("mold__code", "-poured_on", "-id")
    )
