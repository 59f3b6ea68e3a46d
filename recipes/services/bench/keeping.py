"""What a batch made: no longer expected; a blend is held at once for those that wait for it."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from django.db.models import Q

from inventory.queries.stock.documents import held_by_reservation
from inventory.services.buying.requirements import withdraw_makes
from inventory.services.stock.holdings import hold_made
from recipes.errors import FormulaRefusal, SafetyRefusal, WorstNotAccepted
from recipes.models.bench.batches import Batch, BatchLine, BatchState
from recipes.queries.bench.batches import batch_needs
from recipes.services.bench.batches import lines_with_all
from recipes.services.bench.held_safety import check_held
from studio.foundation.doers import By

if TYPE_CHECKING:
    from inventory.models.stock.lots import Lot


def settle_made(*, batch: Batch, by: By = None, **_: Any) -> None:
    """Receiver of `batch_cured`: its lot may be used, so it is not expected any more.

    Batches of the tree of a blend that are reserved and wait for it hold it now, where that was
    asked for.
    """
    withdraw_makes(batch.holder)
    lot = batch.bar_lot
    if batch.version.formula.batter_id is not None or lot is None:
        return
    if batch.keep_for_tree and batch.planned_for_id is not None:
        waiting, refused = _waiting(batch, lot)
        hold_made(lot.pk, waiting, by=by)
        if refused:
            _tell(batch, refused)


def _waiting(batch: Batch, lot: "Lot") -> tuple[list[tuple[int, int]], dict[str, list[str]]]:
    """(reservation, what it waits for of the lot's material), those made first before the top.

    A soap that this lot would make unsafe, or may, gets nothing and is named by why.
    """
    rows: dict[int, list[BatchLine]] = {}
    in_tree = Q(batch=batch.planned_for_id) | Q(batch__planned_for=batch.planned_for_id)
    lines = lines_with_all().filter(in_tree, batch__state=BatchState.RESERVED)
    for row in lines.order_by("batch", "position"):
        rows.setdefault(row.batch_id, []).append(row)
    users = {
        some[0].batch: some for some in rows.values() if batch_needs(some).get(lot.material_id)
    }
    held = held_by_reservation([user.reservation_id for user in users if user.reservation_id])
    found: list[tuple[int, int]] = []
    refused: dict[str, list[str]] = {}
    for user in sorted(users, key=lambda each: (each.pk == batch.planned_for_id, each.pk)):
        there = held.get(user.reservation_id or 0, [])
        missing = batch_needs(users[user])[lot.material_id] - _amount(there, lot.material_id)
        if missing <= 0 or user.reservation_id is None:
            continue
        if why := _why_not(users[user], [*there, (lot, missing)]):
            refused.setdefault(why, []).append(user.code)
        else:
            found.append((user.reservation_id, missing))
    return found, refused


def _tell(batch: Batch, refused: Mapping[str, Sequence[str]]) -> None:
    told = [f"Not held for {', '.join(codes)}: {why}" for why, codes in refused.items()]
    batch.note = "\n".join(part for part in (batch.note, *told) if part)
    batch.save(update_fields=["note"])


def _amount(held: Sequence[tuple["Lot", int]], material: int) -> int:
    return sum(amount for lot, amount in held if lot.material_id == material)


def _why_not(rows: Sequence[BatchLine], lots: Sequence[tuple["Lot", int]]) -> str:
    """Why a batch must not get these lots, and what to do; empty where it may."""
    try:
        check_held(rows[0].batch, rows, lots)
    except WorstNotAccepted:
        return (
            "with this lot its superfat may be lower than anybody accepted of its recipe. Accept"
            " that there, then give it back and reserve it again."
        )
    except (SafetyRefusal, FormulaRefusal):
        return (
            "with this lot it would not be safe. Give it back and reserve it with its lye set on"
            " the lots."
        )
    return ""
