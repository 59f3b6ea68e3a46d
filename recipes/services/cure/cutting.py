"""What a cut makes: a lot of bars, a lot of ends where they are kept, and who bears the cost."""

from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.stock.ledger import Verb
from inventory.domain.stock.lots import LotStatus
from inventory.services.catalog.made_here import ensure_made_material
from inventory.services.days import take_day_to_come
from inventory.services.stock.consumption import draw
from inventory.services.stock.ledger import Origin
from inventory.services.stock.production import NewLot, open_lots
from recipes.domain.cure.cutting import CutCost, abnormal_part, cost_of_cut
from recipes.domain.weighing import check_weight
from recipes.models.bench.batches import Batch
from recipes.models.cure.finishing import CutRecord
from studio.foundation.errors import Faults, InvalidInput

if TYPE_CHECKING:
    from inventory.models.stock.lots import Lot


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """The cut: bars good and rejected, weights in ng where they were taken, labor in minutes.

    `bars_rejected_abnormal` of the rejects went in an unusual loss (a fall, a power cut): they are
    an expense and cost the good bars nothing, as usual rejects do (IAS 2 paragraph 16(a)).
    Ends go into stock with `keep_ends`, at `ends_cost_share` of the cost or by their weight.
    """

    on: date
    bars_good: int
    bars_rejected: int = 0
    bars_rejected_abnormal: int = 0
    good_weight: int | None = None
    rejected_weight: int | None = None
    ends_weight: int | None = None
    keep_ends: bool = False
    ends_cost_share: Decimal | None = None
    minutes: int = 0
    note: str = ""

    @property
    def kept(self) -> int:
        """What goes into stock of the ends, in ng."""
        return (self.ends_weight or 0) if self.keep_ends else 0


def check_cut(batch: Batch, cut: Cut) -> None:
    """Refuse a cut that cannot have been, with all that is wrong. Raises InvalidInput."""
    faults = Faults()
    take_day_to_come(faults, "A cut", cut.on)
    for name in ("bars_good", "bars_rejected", "bars_rejected_abnormal", "minutes"):
        if getattr(cut, name) < 0:
            faults.add("negative-amount", "It cannot be below zero.", name)
    if cut.bars_rejected_abnormal > cut.bars_rejected:
        faults.add(
            "more-than-rejected",
            "Count the unusual rejects among all rejects, too.",
            "bars_rejected_abnormal",
        )
    for name in ("good_weight", "rejected_weight", "ends_weight"):
        check_weight(faults, getattr(cut, name), name)
    if cut.bars_good + cut.bars_rejected == 0:
        faults.add("no-bars", "A cut gives at least one bar, good or rejected.", "bars_good")
    if batch.poured_on and cut.on < batch.poured_on:
        faults.add("before-pour", f"It was poured on {batch.poured_on}.", "on")
    _check_ends(cut, faults)
    faults.raise_if_any(InvalidInput)


def open_cut_lots(batch: Batch, poured: "Lot", cut: Cut, *, origin: Origin) -> "Lot | None":
    """Use up the poured soap, open the lots that the cut made, and keep the record of it.

    The lot of bars, or None without a good bar. Raises InvalidInput for ends that weigh as much
    as was poured.
    """
    if cut.bars_good:
        bars, record = _cut_to_bars(batch, poured, cut, origin)
    else:
        bars, record = None, _written_off(batch, poured, cut, origin)
    record.batch = batch
    record.good_weight, record.rejected_weight = cut.good_weight, cut.rejected_weight
    record.ends_weight = cut.ends_weight
    record.by = origin.by
    record.save()
    return bars


def _cut_to_bars(batch: Batch, poured: "Lot", cut: Cut, origin: Origin) -> tuple["Lot", CutRecord]:
    amount = poured.on_hand
    gone = abnormal_part(
        amount - cut.kept,
        abnormal=cut.bars_rejected_abnormal,
        bars=cut.bars_good + cut.bars_rejected,
    )
    loss = draw(poured.pk, gone, verb=Verb.SPOIL, origin=origin).cost if gone else 0
    left = amount - gone
    taken = draw(poured.pk, left, verb=Verb.CONSUME, origin=origin, any_status=True)
    dealt = cost_of_cut(taken.cost, poured_ng=left, ends_ng=cut.kept, share=cut.ends_cost_share)
    cost = replace(dealt, loss=loss)
    # As it stands on the locked row: a recall may have come in between.
    blocked = taken.lot.status == LotStatus.BLOCKED.value
    bars = NewLot(
        material=batch.version.formula.product,
        code=batch.code,
        amount=cut.bars_good,
        cost=cost.bars,
        received_on=cut.on,
        status=LotStatus.BLOCKED if blocked else LotStatus.QUARANTINE,
        status_reason=taken.lot.status_reason if blocked else "curing",
        made_of={poured.pk: left - cut.kept},
    )
    ends = [_ends(batch, taken.lot, cut, cost.ends)] if cut.kept else []
    lots = open_lots([bars, *ends], verb=Verb.PRODUCE, origin=origin)
    return lots[0], _record(amount, cost, ends_lot=lots[1] if ends else None, cut=cut)


def _written_off(batch: Batch, poured: "Lot", cut: Cut, origin: Origin) -> CutRecord:
    """Without a good bar: kept ends take their part by weight, the rest is spoiled."""
    amount, kept = poured.on_hand, cut.kept
    if kept > amount:
        raise InvalidInput("The ends weigh more than what was poured.", field="ends_weight")
    ends_lot, ends_cost, loss = None, 0, 0
    if kept:
        taken = draw(poured.pk, kept, verb=Verb.CONSUME, origin=origin, any_status=True)
        new = _ends(batch, taken.lot, cut, taken.cost)
        ends_lot, ends_cost = open_lots([new], verb=Verb.PRODUCE, origin=origin)[0], taken.cost
    if amount > kept:
        loss = draw(poured.pk, amount - kept, verb=Verb.SPOIL, origin=origin).cost
    return _record(amount, CutCost(bars=0, ends=ends_cost, loss=loss), ends_lot=ends_lot, cut=cut)


def _ends(batch: Batch, poured: "Lot", cut: Cut, cost: int) -> NewLot:
    """Ends may be used at once, in a later batch; a block of the poured soap goes on with them."""
    formula = batch.version.formula
    blocked = poured.status == LotStatus.BLOCKED.value
    return NewLot(
        material=ensure_made_material(
            code=f"{formula.code}-ends",
            name=f"{formula.name}, ends",
            kind=MaterialKind.INTERMEDIATE,
        ),
        code=f"{batch.code}-ends",
        amount=cut.kept,
        cost=cost,
        received_on=cut.on,
        status=LotStatus.BLOCKED if blocked else LotStatus.RELEASED,
        status_reason=poured.status_reason if blocked else "",
        made_of={poured.pk: cut.kept},
    )


def _record(amount: int, cost: CutCost, *, ends_lot: "Lot | None", cut: Cut) -> CutRecord:
    return CutRecord(
        poured=amount,
        ends_lot=ends_lot,
        ends_share=cut.ends_cost_share if cut.kept else None,
        cost=cost.bars + cost.ends + cost.loss,
        bars_cost=cost.bars,
        ends_cost=cost.ends,
        loss=cost.loss,
    )


def _check_ends(cut: Cut, faults: Faults) -> None:
    if cut.keep_ends and not cut.ends_weight:
        faults.add("weight-missing", "Weigh the ends that go into stock.", "ends_weight")
    if cut.ends_cost_share is None:
        return
    if not cut.keep_ends:
        faults.add("ends-not-kept", "Only ends that are kept bear a cost.", "ends_cost_share")
    elif not cut.bars_good:
        faults.add(
            "no-good-bar",
            "Without a good bar the ends bear their part by weight: leave the share out.",
            "ends_cost_share",
        )
