"""What an owner decided of bars that are lye-heavy by their figures, as their label tells it."""

from typing import TYPE_CHECKING

from inventory.domain.stock.holds import Cause, Outcome
from inventory.queries.stock.holds import holds_for
from recipes.models.bench.batches import Batch
from studio.foundation.units.writing import percent

if TYPE_CHECKING:
    from inventory.models.stock.holds import Hold

_SAFE = frozenset({Outcome.MEASURED, Outcome.SAFE})


def found_safe(batch: Batch) -> "Hold | None":
    """The hold by which a batch's soap was held as lye-heavy, if an owner found it safe last.

    That of the bars, or of the poured soap where it was decided over before the cut. Two queries.
    """
    for lot in (batch.bar_lot_id, batch.poured_lot_id):
        held = holds_for(lot, batch.holder, {Cause.LYE}) if lot is not None else []
        if any(each.open for each in held):
            return None
        if held:
            return held[-1] if held[-1].outcome in _SAFE else None
    return None


def words_of_decision(held: "Hold") -> str:
    """By whom it was found safe, when, and by what."""
    by = held.lifted_by.username if held.lifted_by else "an owner"
    found = "judged it safe again"
    if held.free_alkali is not None:
        found = f"freed it with {percent(held.free_alkali, 4)} free alkali as measured"
        found += f" on {held.measured_on}"
    return f"{by} {found}, decided on {held.lifted_on} ({held.lifted_reason.rstrip('.')})"
