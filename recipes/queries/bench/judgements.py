"""What was judged of batches again."""

from inventory.domain.stock.holds import DECIDED
from inventory.queries.stock.holds import held_documents
from recipes.models.bench.batches import Batch, BatchState
from recipes.models.bench.judgements import Judgement


def unsafe_by_change() -> list[Judgement]:
    """The standing judgements of what is unsafe still, by what changed. Two queries.

    Of poured soap as long as it is held for that; of what was reserved as long as it holds the same
    lots.
    """
    rows = list(
        Judgement.objects.filter(stands=True, is_safe=False)
        .select_related("batch")
        .order_by("subject", "id")
    )
    held = held_documents([row.batch.holder for row in rows], DECIDED)
    return [row for row in rows if _lasts(row, held)]


def _lasts(row: Judgement, held: frozenset[str]) -> bool:
    batch = row.batch
    if row.reservation_id is None:
        return batch.holder in held
    return batch.state == BatchState.RESERVED and batch.reservation_id == row.reservation_id


def judgements_of(batch: Batch) -> list[Judgement]:
    """All that was judged of a batch again, the newest first, with its people. One query."""
    return list(Judgement.objects.filter(batch=batch).select_related("by").order_by("-id"))


def judgement_of(batch: Batch) -> Judgement | None:
    """What stands of a batch that was judged again, with its person. One query.

    None where nothing changed, and of a reservation that has ended.
    """
    row = Judgement.objects.filter(batch=batch, stands=True).select_related("by").first()
    if row is None or row.reservation_id is None:
        return row
    current = batch.state == BatchState.RESERVED and batch.reservation_id == row.reservation_id
    return row if current else None
