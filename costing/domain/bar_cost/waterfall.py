"""A cost as a waterfall: one step after the other, each on top of what came before."""

from collections.abc import Iterable
from dataclasses import dataclass

from costing.domain.bar_cost.bar_cost import BarCost, CostKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A step: what it adds (below zero: takes away), and what it comes to with all before it."""

    kind: CostKind
    label: str
    amount: int
    total: int

    @property
    def start(self) -> int:
        """What it stands on."""
        return self.total - self.amount


def waterfall(parts: Iterable[tuple[CostKind, str, int]]) -> tuple[Step, ...]:
    """Steps of (kind, label, amount) by kind, the largest first; the last total is the sum.

    Parts of one kind and label are one step; parts that come to nothing are left out.
    """
    sums: dict[tuple[CostKind, str], int] = {}
    for kind, label, amount in parts:
        sums[kind, label] = sums.get((kind, label), 0) + amount
    order = list(CostKind)
    ranked = sorted(sums.items(), key=lambda each: (order.index(each[0][0]), -each[1]))
    steps: list[Step] = []
    total = 0
    for (kind, label), amount in ranked:
        if amount:
            total += amount
            steps.append(Step(kind=kind, label=label, amount=amount, total=total))
    return tuple(steps)


def bar_waterfall(bar: BarCost) -> tuple[Step, ...]:
    """The steps of the cost of one good bar; the last one ends at the cost of the bar."""
    return waterfall((each.line.kind, each.line.name, each.per_bar) for each in bar.lines)
