"""Batches for an order: those under way with bars to spare, and the missing ones as plans."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from costing.errors import OrderRefusal
from costing.models.orders.sales import SalesOrder, SalesOrderBatch
from costing.queries.orders.promises import Promise, PromisePart, Wanted, promise
from costing.services.orders.rows import OpenLine, lines_of, lock_order, note, tell_shelf
from inventory.services.buying.requirements import require
from recipes.queries.bench.batches import UNDER_WAY, batches_by_code
from recipes.queries.cure.bars import USUAL_DAYS_IN_MOLD, days_in_mold
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import Plan, Wish, make_plan
from recipes.services.scaling.planning import plan_batch
from studio.foundation.doers import By
from studio.work.leases import take_turn

if TYPE_CHECKING:
    from recipes.models.bench.batches import Batch

#: Whoever looks for bars that batches have to spare waits for who is about to take them.
TURN = "costing.order-batches"


@transaction.atomic
def plan_missing(code: str, *, by: By = None) -> SalesOrder:
    """See that batches make what nothing holds yet of an open order.

    Bars to spare of batches under way are linked first, where they are ready sooner; what is still
    missing is planned as batches of the current version in the product's mold, on the earliest day
    that materials and molds allow. A second call finds it all done. Raises the refusals of a
    recipe that cannot be made at that size, OrderRefusal for a mold without bars, OrderClosed.
    """
    take_turn(TURN)
    order = lock_order(code)
    plan_for(order, by=by)
    return order


def plan_for(order: SalesOrder, *, by: By) -> None:
    """The same for a locked order, in the turn of those who plan; tells the shelf what it needs."""
    lines = lines_of(order)
    open_lines = {place: bars for place, bars in _uncovered(lines).items() if bars}
    if open_lines:
        _tell_covered(order, lines, open_lines)
        wanted = [
            Wanted(product_id=lines[p].row.product_id, quantity=open_lines[p]) for p in open_lines
        ]
        today = timezone.localdate()
        promises = promise(wanted, on=today, wanted_on=order.due_on)
        planner = _Planner(order, today, by)
        for place, found in zip(open_lines, promises, strict=True):
            planner.cover(lines[place], found, open_lines[place])
        if planner.planned:
            words = ", ".join(f"{batch.code} on {batch.planned_on}" for batch in planner.planned)
            note(order, "planned", f"Planned {words}.", by=by)
    tell_shelf(order)


def _uncovered(lines: Mapping[int, OpenLine]) -> dict[int, int]:
    """Bars of each line that nothing holds and no batch makes. Links of batches that will make
    nothing more are forgotten. Two queries."""
    links = SalesOrderBatch.objects.filter(line__in=[line.row.pk for line in lines.values()])
    links.exclude(batch__state__in=UNDER_WAY).delete()
    covered: dict[int, int] = defaultdict(int)
    for line, bars in links.values_list("line", "bars"):
        covered[line] += bars
    return {place: max(line.missing - covered[line.row.pk], 0) for place, line in lines.items()}


def _tell_covered(
    order: SalesOrder, lines: Mapping[int, OpenLine], open_lines: Mapping[int, int]
) -> None:
    """Only what is held or made already counts as this order's, while the rest is looked for."""
    needs: dict[int, int] = defaultdict(int)
    for place, line in lines.items():
        needs[line.material] += line.to_ship - open_lines.get(place, 0)
    require(needs, holder=order.holder, due_on=order.due_on)


class _Planner:
    """Links lines to batches and plans new ones, each once however many lines share it."""

    def __init__(self, order: SalesOrder, today: date, by: By) -> None:
        self.order, self.today, self.by = order, today, by
        self.planned: list[Batch] = []
        self._new: dict[tuple[int, str, date], Batch] = {}
        self._spare: dict[int, list[tuple[Batch, int]]] = defaultdict(list)

    def cover(self, line: OpenLine, found: Promise, bars: int) -> None:
        """Link a line to what its promise rests on, and plan what nobody can promise yet."""
        there = batches_by_code(p.code for p in found.parts if p.kind in ("curing", "planned"))
        for part in found.parts:
            if part.code in there:
                self._link(line, there[part.code], part.amount, here=False)
            elif part.kind == "new":
                self._link(line, self._promised(line, part), part.amount, here=True)
        self._beyond(line, bars - sum(part.amount for part in found.parts))
        if line.row.promised_on is None and found.on is not None:
            line.row.promised_on = found.on
            line.row.save(update_fields=["promised_on"])

    def _promised(self, line: OpenLine, part: PromisePart) -> "Batch":
        """The batch behind a promised part: its mold and its day tell it from others."""
        formula = line.row.product.formula_id
        key = (formula, part.code, part.ready_on)
        if key not in self._new:
            plan = _plan_of(line)
            days = max(_in_mold(formula), plan.loaded.version.cure_days)
            self._new[key] = self._plan(plan, part.ready_on - timedelta(days))
        return self._new[key]

    def _beyond(self, line: OpenLine, short: int) -> None:
        """Batches for bars that cannot be promised (no offer brings a material, say): planned to
        be ready when the order is due, so that what they lack is seen."""
        spare = self._spare[line.material]
        while short > 0:
            if not spare:
                plan = _plan_of(line)
                stay = _in_mold(line.row.product.formula_id)
                days = max(stay, plan.loaded.version.cure_days)
                start = max(self.today, self.order.due_on - timedelta(days))
                before = sum(batch.mold_id == line.row.product.mold_id for batch in self.planned)
                batch = self._plan(plan, start + timedelta(stay * before))
                spare.append((batch, batch.bars_planned))
            batch, left = spare.pop()
            part = min(left, short)
            self._link(line, batch, part, here=True)
            short -= part
            if left > part:
                spare.append((batch, left - part))

    def _plan(self, plan: Plan, day: date) -> "Batch":
        batch = plan_batch(
            plan,
            planned_on=max(day, self.today),
            note=f"For order {self.order.code}.",
            by=self.by,
        )
        self.planned.append(batch)
        return batch

    def _link(self, line: OpenLine, batch: "Batch", bars: int, *, here: bool) -> None:
        link, is_new = SalesOrderBatch.objects.get_or_create(
            line=line.row, batch_id=batch.pk, defaults={"bars": bars, "planned_here": here}
        )
        if not is_new:
            link.bars += bars
            link.save(update_fields=["bars"])


def _plan_of(line: OpenLine) -> Plan:
    """The current version in the product's mold. Raises what keeps it from being made."""
    product = line.row.product
    plan = make_plan(load_formula(code=product.formula.code), Wish(mold=product.mold))
    if not plan.bars:
        raise OrderRefusal(
            f"The mold of {product.name} is not cut into bars: give the product another one.",
            field="lines",
        )
    return plan


def _in_mold(formula: int) -> int:
    return days_in_mold([formula]).get(formula, USUAL_DAYS_IN_MOLD)


def spared(batches: Sequence[int], *, order: SalesOrder) -> list[str]:
    """Of these batches the codes of those that no other open order waits for. One query."""
    wanted = SalesOrderBatch.objects.filter(batch__in=batches, planned_here=True)
    others = SalesOrderBatch.objects.filter(batch__in=batches, line__order__state="open").exclude(
        line__order=order
    )
    taken = set(others.values_list("batch", flat=True))
    rows = wanted.filter(line__order=order).order_by("batch").distinct()
    return [row.batch.code for row in rows.select_related("batch") if row.batch_id not in taken]
