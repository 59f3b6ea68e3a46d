"""What batches under way will have made, and by when: told to the shelf at each step."""

from inventory.services.buying.requirements import expect, withdraw_makes
from recipes.domain.levels.explosion import days_after
from recipes.models.bench.batches import Batch, BatchState
from recipes.queries.bench.batches import UNDER_WAY


def expect_made(batch: Batch) -> None:
    """Tell the shelf what a batch will have made, and when, as its state says. Two queries.

    Bars come on the day their cure is over, as many as are planned until they are cut; a blend
    comes when it is ready. What is done or called off makes nothing any more.
    """
    formula = batch.version.formula
    if batch.state not in UNDER_WAY:
        withdraw_makes(batch.holder)
        return
    is_soap = formula.batter_id is not None
    is_begun = batch.state in (BatchState.POURED, BatchState.CUT)
    amount = batch.bars_planned if is_soap else batch.batter
    lot_id = batch.poured_lot_id
    if batch.state == BatchState.CUT:
        amount, lot_id = batch.bars_good or 0, batch.bar_lot_id
    days = batch.version.cure_days if is_soap else batch.version.ready_days
    expect(
        {formula.product_id: amount},
        holder=batch.holder,
        due_on=batch.cure_ready_on or days_after(batch.planned_on, days),
        days_to_make=0 if is_begun else days,
        lot_id=lot_id,
    )
