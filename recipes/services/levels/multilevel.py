"""A batch and all that must be made for it: planned as a tree or below it, reserved as one."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from inventory.queries.stock.candidates import Choices
from inventory.queries.stock.supplies import supplies
from inventory.services.stock.holdings import Share, Together, release_together, reserve_together
from inventory.services.stock.reservations import Held
from recipes.domain.chemistry.safety import SafetyCheck
from recipes.domain.formulas.formula import Stage
from recipes.models.bench.batches import Batch, BatchLine, BatchState
from recipes.queries.bench.batches import batch_by_code, batch_needs
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import Plan, PlanLine, Wish
from recipes.services.bench.batches import (
    ReservedBatch,
    cancel_batch,
    days_of_use,
    expect,
    lines_with_all,
    lock_batch,
    reserve_batch,
    with_enough,
)
from recipes.services.bench.held_safety import check_held
from recipes.services.bench.resetting import Lots, hold_with_own_lye, reserve_on_lots
from recipes.services.levels.explosion import ExplodedPlan, explode_plan
from recipes.services.scaling.planning import plan_batch
from studio.foundation.doers import By
from studio.foundation.errors import NotFound

#: Whatever is made for these is still to come.
_TO_COME = (BatchState.PLANNED, BatchState.RESERVED)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedTree:
    """The batch that was wanted, and those to make for it, in the order in which they are made."""

    top: Batch
    making: tuple[Batch, ...]
    exploded: ExplodedPlan


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldBatch:
    """A batch of a tree, what it holds, and its safety with the lots' own values.

    `waits` is what it needs of materials that are still to be made: material id -> stock units.
    """

    batch: Batch
    rows: Sequence[BatchLine]
    held: Held
    waits: Mapping[int, int]
    safety: SafetyCheck | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Tree:
    """Locked batches with their lines: those made for the top in their order, then the top."""

    top: Batch
    batches: tuple[Batch, ...]
    rows: Mapping[int, Sequence[BatchLine]]

    @property
    def to_come(self) -> dict[int, int]:
        """What batches below the top will still make: material id -> stock units."""
        coming: dict[int, int] = {}
        for batch in self.batches:
            if batch.pk != self.top.pk and batch.state in _TO_COME:
                product = batch.version.formula.product_id
                coming[product] = coming.get(product, 0) + batch.batter
        return coming


@transaction.atomic
def plan_tree(plan: Plan, *, planned_on: date, note: str = "", by: By = None) -> PlannedTree:
    """Keep a plan and the batches that make what it is short of, over all levels.

    Each batch requires its materials, intermediates too, by the day it starts, and is expected to
    make its own by the day that is ready. Raises as `explode_plan` does.
    """
    exploded = explode_plan(plan, on=planned_on)
    top = plan_batch(plan, planned_on=planned_on, note=note, by=by)
    making = tuple(
        plan_batch(
            exploded.plans[proposal.need.material],
            planned_on=proposal.start_on,
            planned_for=top,
            by=by,
        )
        for proposal in exploded.found.proposals
    )
    return PlannedTree(top=top, making=making, exploded=exploded)


@transaction.atomic
def reserve_tree(
    code: str,
    *,
    expires_on: date | None = None,
    keep: bool = True,
    reset_lye: bool = False,
    on: date | None = None,
    accept_worst: Decimal | None = None,
    by: By = None,
) -> list[HeldBatch]:
    """Hold what a batch and all planned for it need, all or nothing; in the order of making.

    What is still to be made stays required, and `keep` holds it as soon as it is there. `reset_lye`
    sets the lye of the top on its lots, usable on the day `on` or else the top's (`days_of_use`);
    `accept_worst` is accepted with each. Raises NotEnoughStock naming every short material,
    BatchConflict unless the top is planned, and the safety refusals; then nothing is held.
    """
    tree = lock_tree(code)
    expect(tree.top, BatchState.PLANNED, "reserved")
    below = [b for b in tree.batches if b.state == BatchState.PLANNED and b.pk != tree.top.pk]

    def hold(top_rows: Sequence[BatchLine], day: date) -> list[Held]:
        rows = {**tree.rows, tree.top.pk: top_rows}
        return _hold(tree, rows, below, day=day, expires_on=expires_on, by=by)

    def hold_for(day: date) -> tuple[list[Held], Sequence[BatchLine]]:
        rows = tree.rows[tree.top.pk]
        if not reset_lye:
            return hold(rows, day), rows
        lots = _lots_of_top
        return hold_with_own_lye(tree.top, rows, hold=lambda rows: hold(rows, day), lots=lots)

    held, rows = with_enough(days_of_use(tree.top, hold_until=expires_on, on=on), hold_for)
    batches, lines = (*below, tree.top), [*(tree.rows[batch.pk] for batch in below), rows]
    found = [
        _held(batch, of, each, accept_worst=accept_worst, by=by)
        for batch, of, each in zip(batches, lines, held, strict=True)
    ]
    _mark(tree, found, keep=keep)
    return found


def _lots_of_top(held: Sequence[Held]) -> Lots:
    """What the top holds: it comes last."""
    return held[-1].lots


def reserve_planned(
    code: str,
    *,
    chosen: Choices | None = None,
    expires_on: date | None = None,
    reset_lye: bool = False,
    on: date | None = None,
    accept_worst: Decimal | None = None,
    by: By = None,
) -> ReservedBatch:
    """Hold what a batch needs the way it was planned: with all that is planned for it, or alone.

    Lots are chosen for a batch alone. Raises as `reserve_tree`, `reserve_on_lots` (`reset_lye`) and
    `reserve_batch` do.
    """
    below = Batch.objects.filter(planned_for__code=code, state=BatchState.PLANNED)
    if not chosen and below.exists():
        top = reserve_tree(
            code,
            expires_on=expires_on,
            reset_lye=reset_lye,
            on=on,
            accept_worst=accept_worst,
            by=by,
        )[-1]
        return ReservedBatch(batch=top.batch, held=top.held, safety=top.safety)
    alone = reserve_on_lots if reset_lye else reserve_batch
    return alone(
        code, chosen=chosen, expires_on=expires_on, on=on, accept_worst=accept_worst, by=by
    )


def _hold(
    tree: Tree,
    rows: Mapping[int, Sequence[BatchLine]],
    below: Sequence[Batch],
    *,
    day: date,
    expires_on: date | None,
    by: By,
) -> list[Held]:
    """Hold for the batches below in their order, then for the top."""
    shares = [
        Share(holder=batch.holder, needs=batch_needs(rows[batch.pk]))
        for batch in (*below, tree.top)
    ]
    waits = _may_wait(tree, {pk for share in shares for pk in share.needs}, on=day)
    return reserve_together(
        Together(shares=shares, on=day, waits=waits, expires_on=expires_on), by=by
    )


def _may_wait(tree: Tree, materials: Iterable[int], *, on: date) -> dict[int, int]:
    """How much of each material the tree may wait for: what it makes itself, and what others make
    beyond what they need.
    """
    waits = tree.to_come
    for material, supply in supplies(materials, on=on).items():
        coming = sum(amount for _, amount in supply.coming)
        promised = sum(amount for _, amount in supply.promised)
        spare = coming + min(0, supply.available + coming - promised)
        waits[material] = max(waits.get(material, 0), spare)
    return waits


@transaction.atomic
def cancel_tree(code: str, *, by: By = None, reason: str = "") -> list[Batch]:
    """Call off a batch and what was planned for it; what is made already stays as it is.

    Raises BatchConflict once the batch at the top is poured.
    """
    tree = lock_tree(code)
    below = [b for b in tree.batches if b.state in _TO_COME and b.pk != tree.top.pk]
    if tree.top.state in _TO_COME:  # else the top refuses, with nothing given back
        held = (batch.reservation_id for batch in (tree.top, *below))
        release_together([pk for pk in held if pk], by=by, note="batch given back")
    return [cancel_batch(batch.code, by=by, reason=reason) for batch in (tree.top, *below)]


def lock_tree(code: str) -> Tree:
    """Lock a batch and all that is planned for it, by id, and read their lines. Two queries.

    Raises NotFound.
    """
    ids = list(
        Batch.objects.select_for_update(of=("self",))
        .filter(Q(code=code) | Q(planned_for__code=code))
        .order_by("pk")
        .values_list("pk", flat=True)
    )
    rows: dict[int, list[BatchLine]] = {}
    for row in lines_with_all().filter(batch__in=ids).order_by("batch", "position"):
        rows.setdefault(row.batch_id, []).append(row)
    batches = [rows[pk][0].batch for pk in ids if pk in rows]
    top = next((batch for batch in batches if batch.code == code), None)
    if top is None:
        raise NotFound(f"There is no batch {code}.", field="batch")
    below = tuple(batch for batch in batches if batch.pk != top.pk)
    return Tree(top=top, batches=(*below, top), rows=rows)


def still_waiting(needs: Mapping[int, int], held: Held) -> dict[int, int]:
    """What of the needs is not held: material id -> stock units."""
    missing = dict(needs)
    for lot, amount in held.lots:
        missing[lot.material_id] -= amount
    return {material: amount for material, amount in missing.items() if amount > 0}


def _held(
    batch: Batch,
    rows: Sequence[BatchLine],
    held: Held,
    *,
    accept_worst: Decimal | None,
    by: By,
) -> HeldBatch:
    return HeldBatch(
        batch=batch,
        rows=rows,
        held=held,
        waits=still_waiting(batch_needs(rows), held),
        safety=check_held(batch, rows, held.lots, accept_worst=accept_worst, by=by),
    )


def _mark(tree: Tree, found: Sequence[HeldBatch], *, keep: bool) -> None:
    now = timezone.now()
    for each in found:
        batch = each.batch
        batch.state, batch.reservation = BatchState.RESERVED, each.held.reservation
        batch.revision, batch.updated_at = batch.revision + 1, now
        batch.changed_by_id = each.held.reservation.by_id
        batch.keep_for_tree = keep and batch.pk != tree.top.pk
    Batch.objects.bulk_update(
        [each.batch for each in found],
        ["state", "reservation", "revision", "updated_at", "changed_by", "keep_for_tree"],
    )


def explode_batch(code: str) -> ExplodedPlan:
    """What a planned batch needs over all levels, beside its own requirement. Stores nothing.

    Batches that are planned for it already count as what they will make. Raises NotFound,
    ProductionCycle, ScalingRefusal, and BatchConflict unless it is planned.
    """
    batch = batch_by_code(code)
    return _exploded(batch, list(batch.lines.all()))


@transaction.atomic
def plan_below(code: str, *, by: By = None) -> PlannedTree:
    """Plan the batches that make what a planned batch is short of, over all levels.

    Done again, it plans what has come to be short since. Raises as `explode_batch` does.
    """
    batch, rows = lock_batch(code)
    exploded = _exploded(batch, rows)
    making = tuple(
        plan_batch(
            exploded.plans[proposal.need.material],
            planned_on=proposal.start_on,
            planned_for=batch,
            by=by,
        )
        for proposal in exploded.found.proposals
    )
    return PlannedTree(top=batch, making=making, exploded=exploded)


def _exploded(batch: Batch, rows: Sequence[BatchLine]) -> ExplodedPlan:
    expect(batch, BatchState.PLANNED, "completed with what is made for it")
    plan = _plan_of(batch, rows)
    return explode_plan(plan, on=_day_of(batch), without=batch.holder)


def _day_of(batch: Batch) -> date:
    return max(batch.planned_on, timezone.localdate())


def _plan_of(batch: Batch, rows: Sequence[BatchLine]) -> Plan:
    """The plan that a batch was made from, by the weights that it has now."""
    version = batch.version
    return Plan(
        loaded=load_formula(code=version.formula.code, number=version.number),
        wish=Wish(mold=batch.mold),
        lines=tuple(_line(row) for row in rows),
        bars=batch.bars_planned,
        bar_weight_ng=batch.batter // batch.bars_planned if batch.bars_planned else 0,
        output_ng=batch.batter,
    )


def _line(row: BatchLine) -> PlanLine:
    mass = row.material.mass_of(row.planned)
    return PlanLine(
        part=BatchLine.Part(row.part),
        material=row.material,
        stage=Stage(row.stage),
        amount=row.planned,
        mass_ng=mass,
        exact_ng=mass,
        position=row.position,
        portion=row.portion,
    )
