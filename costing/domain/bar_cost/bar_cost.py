"""What a batch cost, and each good bar of it.

Cost of a batch = materials + packaging + labor + overhead - what was recovered as scrap (costs of
purchase and of conversion, IAS 2 paragraphs 10 to 14). The bars that usually go wrong cost the good
bars more; an unusual loss is an expense of its own (IAS 2 paragraph 16). Money is
ten-thousandths; quantities are nanograms or pieces.

What nobody knows (no rate, no price) is not zero: then the cost is None, and what is known of it
stands beside, as the least that it can be.
"""

import statistics
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from types import MappingProxyType
from typing import Annotated

from costing.domain.bar_cost.conversion import (
    SECONDS_PER_MINUTE,
    ConversionCost,
    Effort,
    conversion_cost,
)
from costing.domain.rates.rates import Rates
from costing.errors import CostNotKnown
from studio.foundation.errors import Faults
from studio.foundation.hints import ExactMoney, Mark, Money
from studio.foundation.money import share, split


class CostKind(StrEnum):
    """Where a line of the cost comes from."""

    MATERIAL = "material"
    PACKAGING = "packaging"
    LABOR = "labor"
    OVERHEAD = "overhead"
    RECOVERED = "recovered"


_TASKS: Mapping[Effort, str] = MappingProxyType(
    {
        Effort.MIX: "Labor, mixing",
        Effort.CUT: "Labor, cutting",
        Effort.WRAP: "Labor, wrapping",
    }
)
_OVERHEADS: Mapping[Effort, str] = MappingProxyType(
    {Effort.RACK: "Cure rack", Effort.ENERGY: "Energy"}
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CostLine:
    """One line of a batch's cost; `quantity` is ng, pieces, or minutes for labor.

    `unit` is the one it is shown in ("g", "each", "min"), `origin` what the cost comes from: the
    code of a lot, of several, or of an offer. Unless `known`, `cost` is only what is known of it.
    """

    kind: CostKind
    code: str
    name: str
    cost: Money
    quantity: int = 0
    unit: str = ""
    origin: str = ""
    known: bool = True

    @property
    def cost_if_known(self) -> Money | None:
        """The cost; None where not all of it is known."""
        return self.cost if self.known else None


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchCost:
    """The cost of a batch, line by line."""

    lines: tuple[CostLine, ...]

    @property
    def known(self) -> bool:
        """Whether the cost of every line is known."""
        return all(line.known for line in self.lines)

    @property
    def at_least(self) -> Money:
        """What is known of the cost of the whole batch."""
        return sum(line.cost for line in self.lines)

    @property
    def total(self) -> Money | None:
        """Cost of the whole batch; None where some of it is not known."""
        return self.at_least if self.known else None

    def known_of(self, kind: CostKind) -> Money:
        """What is known of the cost of all lines of one kind."""
        return sum(line.cost for line in self.lines if line.kind == kind)

    def of(self, kind: CostKind) -> Money | None:
        """Cost of all lines of one kind; None where some of it is not known."""
        if not all(line.known for line in self.lines if line.kind == kind):
            return None
        return self.known_of(kind)


@dataclass(frozen=True, slots=True, kw_only=True)
class BarLine:
    """One line of the batch's cost and its part of the cost of one bar."""

    line: CostLine
    per_bar: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BarCost:
    """Cost of one good bar: rounded, exact, and by line (which add up to the rounded cost).

    Unless `known`, `cost_of_good`, `at_least`, `exact` and the lines are what is known of it.
    """

    good_bars: int
    cost_of_good: Money
    abnormal_loss: Money
    at_least: Money
    exact: Fraction
    lines: tuple[BarLine, ...]
    known: bool = True

    @property
    def per_bar(self) -> Money | None:
        """The rounded cost of a bar; None where some of it is not known."""
        return self.at_least if self.known else None


def batch_cost(
    *,
    materials: Iterable[CostLine],
    packaging: Iterable[CostLine] = (),
    labor_minutes: int | None = None,
    rates: Rates,
    recovered: int = 0,
) -> BatchCost:
    """Add up a batch: its materials and packaging, labor = minutes x rate / 60, overhead.

    Labor whose minutes nobody tells (None) is not known; 0 is an answer. `recovered` is what scrap
    (trimmings kept for another batch) is worth; it lowers the cost. Labor and overhead by the hour
    are each rounded once. Raises CostNotKnown with all faults: a
    cost, the minutes, a rate or the recovery below zero, or a recovery above the cost.
    """
    given = (*materials, *packaging)
    _check_batch(given, labor_minutes, rates, recovered)
    conversion = conversion_cost(labor_minutes=labor_minutes, rates=rates)
    return added_up(given, conversion, recovered=recovered)


def added_up(
    given: Iterable[CostLine], conversion: ConversionCost, *, recovered: int = 0
) -> BatchCost:
    """Add up a batch whose conversion cost is known: lines of material and packaging come first.

    Raises CostNotKnown when more is recovered than all of it cost.
    """
    lines = [*given, *conversion_lines(conversion)]
    spent = sum(line.cost for line in lines)
    if recovered > spent:
        raise CostNotKnown("More is recovered than the batch cost.", field="recovered")
    if recovered:
        lines.append(
            CostLine(kind=CostKind.RECOVERED, code="recovered", name="Recovered", cost=-recovered)
        )
    return BatchCost(lines=tuple(lines))


def conversion_lines(conversion: ConversionCost) -> list[CostLine]:
    """Labor and overhead as lines of a cost: one each, and those of the tasks, racks and energy.

    Labor that was not told apart is there where it is any or all, overhead by the batch and labor
    hour always.
    """
    unknown = set(conversion.unknown)
    apart = [
        CostLine(
            kind=CostKind.OVERHEAD,
            code=effort.value,
            name=name,
            cost=conversion.of(effort),
            known=effort not in unknown,
        )
        for effort, name in _OVERHEADS.items()
        if conversion.of(effort) or effort in unknown
    ]
    whole = CostLine(
        kind=CostKind.OVERHEAD,
        code="overhead",
        name="Overhead",
        cost=conversion.overhead - sum(line.cost for line in apart),
        known=unknown.isdisjoint((Effort.BATCH, Effort.LABOR_HOUR)),
    )
    return [*_labor_lines(conversion), whole, *apart]


def _labor_lines(conversion: ConversionCost) -> list[CostLine]:
    lines = [
        _labor_line(
            effort.value.replace("_", "-"),
            name,
            cost=conversion.of(effort),
            minutes=round(Fraction(conversion.quantity_of(effort), SECONDS_PER_MINUTE)),
            known=effort not in conversion.unknown,
        )
        for effort, name in _TASKS.items()
        if conversion.quantity_of(effort)
    ]
    cost = conversion.labor - sum(line.cost for line in lines)
    minutes = max(conversion.minutes - sum(line.quantity for line in lines), 0)
    known = Effort.LABOR not in conversion.unknown
    if cost or minutes or not known or not lines:
        lines.append(_labor_line("labor", "Labor", cost=cost, minutes=minutes, known=known))
    return lines


def _labor_line(code: str, name: str, *, cost: int, minutes: int, known: bool) -> CostLine:
    return CostLine(
        kind=CostKind.LABOR,
        code=code,
        name=name,
        cost=cost,
        quantity=minutes,
        unit="min",
        known=known,
    )


def bar_cost(
    batch: BatchCost,
    *,
    good_bars: int,
    normal_rejects: int = 0,
    abnormal_rejects: int = 0,
    abnormal_loss: int | None = None,
) -> BarCost:
    """Cost of one good bar.

    Normal rejects cost the good bars more. Abnormal rejects take their part of the cost, as
    bars among all bars cut (good, normal and abnormal), out of it as a loss. Leave the normal
    rejects uncounted (0) to spread their cost over good and abnormal bars alike. Where the books
    know what the abnormal rejects took, give it as `abnormal_loss`. Raises CostNotKnown when no
    bar is good, a count is below zero, or more was lost than the batch cost.
    """
    _check_counts(good_bars, normal_rejects, abnormal_rejects)
    total = batch.at_least
    cut = good_bars + normal_rejects + abnormal_rejects
    lost = Fraction(abnormal_rejects, cut)
    loss = share(total, abnormal_rejects, cut) if abnormal_rejects else 0
    if abnormal_loss is not None:
        loss, lost = abnormal_loss, Fraction(abnormal_loss, total or 1)
    if abnormal_loss is not None and not 0 <= loss <= total:
        raise CostNotKnown("More is lost than the batch cost.", field="abnormal_loss")
    exact = Fraction(total - loss, good_bars)
    at_least = round(exact)
    return BarCost(
        good_bars=good_bars,
        cost_of_good=total - loss,
        abnormal_loss=loss,
        at_least=at_least,
        exact=exact,
        lines=_by_line(batch, at_least, (1 - lost) / good_bars),
        known=batch.known,
    )


def _check_counts(good_bars: int, normal_rejects: int, abnormal_rejects: int) -> None:
    faults = Faults()
    if good_bars <= 0:
        faults.add("no-good-bars", "Without a good bar there is no cost per bar.", "good_bars")
    for name, count in (
        ("normal_rejects", normal_rejects),
        ("abnormal_rejects", abnormal_rejects),
    ):
        if count < 0:
            faults.add("count-below-zero", "A count of bars cannot be below zero.", name)
    faults.raise_if_any(CostNotKnown)


def _by_line(batch: BatchCost, per_bar: int, part: Fraction) -> tuple[BarLine, ...]:
    """Split the cost of a bar, which bears `part` of the batch, over the lines; it adds up."""
    recovered = -batch.known_of(CostKind.RECOVERED)
    if batch.at_least + recovered == 0:
        return tuple(BarLine(line=line, per_bar=0) for line in batch.lines)
    # A recovery is below zero, which a split can't carry: it's put aside first, rounded by
    # itself, and the other lines share what then makes up the cost of the bar.
    off = round(recovered * part)
    weights = [max(line.cost, 0) for line in batch.lines]
    parts = split(per_bar + off, weights)
    return tuple(
        BarLine(line=line, per_bar=-off if line.kind == CostKind.RECOVERED else part)
        for line, part in zip(batch.lines, parts, strict=True)
    )


def _check_batch(
    given: Sequence[CostLine], labor_minutes: int | None, rates: Rates, recovered: int
) -> None:
    faults = Faults()
    for index, line in enumerate(given):
        if line.cost < 0 or line.quantity < 0:
            faults.add(
                "line-below-zero",
                f"The cost and quantity of {line.name} cannot be below zero.",
                f"lines.{index}",
            )
    amounts = {
        "labor_minutes": labor_minutes,
        "recovered": recovered,
        "rates.labor_per_hour": rates.labor_per_hour,
        "rates.overhead_per_batch": rates.overhead_per_batch,
        "rates.overhead_per_labor_hour": rates.overhead_per_labor_hour,
    }
    for field, amount in amounts.items():
        if amount is not None and amount < 0:
            faults.add("below-zero", "This cannot be below zero.", field)
    faults.raise_if_any(CostNotKnown)


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A step: what it adds (below zero: takes away), and what it comes to with all before it."""

    kind: CostKind
    label: str
    amount: Money
    total: Money

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Of n costs (ten-thousandths): mean, lowest, highest, median, and standard deviation.

    `deviation` is the sample standard deviation (n - 1 in the denominator), None of one cost.
    """

    count: int
    mean: ExactMoney
    lowest: Money
    highest: Money
    median: ExactMoney
    deviation: Annotated[float, Mark.MONEY] | None


def spread_of(costs: Sequence[int]) -> Spread | None:
    """The spread of costs; None of none."""
    if not costs:
        return None
    exact = [Fraction(cost) for cost in costs]
    return Spread(
        count=len(costs),
        mean=statistics.mean(exact),
        lowest=min(costs),
        highest=max(costs),
        median=statistics.median(exact),
        deviation=statistics.stdev(costs) if len(costs) > 1 else None,
    )
