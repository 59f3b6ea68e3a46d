"""What was made against what was planned: where the difference in cost comes from.

Standard costing (OpenStax, Principles of Accounting, volume 2, chapter 8; the split of efficiency
into usage and yield as in Horngren, Cost Accounting, its chapter on mix and yield; both from
memory):

    price (of labor: rate)        (actual price - standard price) x actual quantity
    usage (of labor: efficiency)  (actual quantity - planned quantity) x standard price
    yield                         (planned bars - good bars) x standard cost of a bar

Usage and yield together are the efficiency against what the standard allows for the good bars that
were made. All three add up exactly to the actual cost less the standard cost of the good bars.
Above zero is unfavorable: it cost more. Money is ten-thousandths.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from costing.domain.bar_cost.bar_cost import CostKind
from costing.errors import CostNotKnown
from studio.foundation.errors import Faults
from studio.foundation.hints import Money


@dataclass(frozen=True, slots=True, kw_only=True)
class Amount:
    """A quantity and what it cost in all; a cost of None is not known."""

    quantity: int = 0
    cost: int | None = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """An input as planned and as it was."""

    kind: CostKind
    code: str
    name: str
    planned: Amount
    actual: Amount
    unit: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class InputVariance:
    """The difference of one input: `price` + `usage` = actual cost - planned cost.

    `priced` is false where no price was known at planning: then the actual price stands in.
    """

    kind: CostKind
    code: str
    name: str
    unit: str
    planned_quantity: int
    planned_cost: Money
    actual_quantity: int
    actual_cost: Money
    price: Money
    usage: Money
    priced: bool = True

    @property
    def total(self) -> int:
        """Price and usage."""
        return self.price + self.usage


@dataclass(frozen=True, slots=True, kw_only=True)
class VarianceSums:
    """The variances by what they come from; all but the last add up to it."""

    material_price: Money
    material_usage: Money
    labor_rate: Money
    labor_efficiency: Money
    overhead_price: Money
    overhead_usage: Money
    recovered: Money
    yield_variance: Money
    total: Money


@dataclass(frozen=True, slots=True, kw_only=True)
class Variances:
    """All differences of a batch: prices + usages + `yield_` = actual - allowed.

    `planned_cost` is the standard cost of the batch as planned, `allowed` that of the good bars.
    """

    planned_bars: int
    good_bars: int
    inputs: tuple[InputVariance, ...]
    planned_cost: Money
    allowed: Money
    actual_cost: Money

    @property
    def yield_(self) -> Money:
        """What fewer (below zero: more) good bars than planned cost at standard."""
        return self.planned_cost - self.allowed

    @property
    def total(self) -> Money:
        """Actual cost less the standard cost of the good bars."""
        return self.actual_cost - self.allowed

    def price(self, *kinds: CostKind) -> int:
        """The price (rate) variance of these kinds, of all without any."""
        return sum(each.price for each in self.inputs if not kinds or each.kind in kinds)

    def usage(self, *kinds: CostKind) -> int:
        """The usage (efficiency) variance of these kinds, of all without any."""
        return sum(each.usage for each in self.inputs if not kinds or each.kind in kinds)

    @property
    def sums(self) -> VarianceSums:
        """The same by what they come from; packaging is a material here."""
        goods = (CostKind.MATERIAL, CostKind.PACKAGING)
        return VarianceSums(
            material_price=self.price(*goods),
            material_usage=self.usage(*goods),
            labor_rate=self.price(CostKind.LABOR),
            labor_efficiency=self.usage(CostKind.LABOR),
            overhead_price=self.price(CostKind.OVERHEAD),
            overhead_usage=self.usage(CostKind.OVERHEAD),
            recovered=self.price(CostKind.RECOVERED) + self.usage(CostKind.RECOVERED),
            yield_variance=self.yield_,
            total=self.total,
        )


def input_variance(compared: Compared) -> InputVariance:
    """Split the difference of one input into price and usage.

    Without a planned quantity there is no standard price: all of it is usage. Raises CostNotKnown
    for a quantity below zero, or an actual cost that is not known.
    """
    planned, actual = compared.planned, compared.actual
    if planned.quantity < 0 or actual.quantity < 0:
        raise CostNotKnown("A quantity cannot be below zero.", field="quantity")
    if actual.cost is None:
        raise CostNotKnown(f"What {compared.name} cost is not known.", field="actual")
    known = planned.cost is not None
    planned_cost = planned.cost or 0
    if not known and actual.quantity:
        planned_cost = round(Fraction(actual.cost * planned.quantity, actual.quantity))
    if not known:
        at_standard = actual.cost
    elif planned.quantity:
        at_standard = round(Fraction(planned_cost * actual.quantity, planned.quantity))
    else:
        at_standard = actual.cost
    return InputVariance(
        kind=compared.kind,
        code=compared.code,
        name=compared.name,
        unit=compared.unit,
        planned_quantity=planned.quantity,
        planned_cost=planned_cost,
        actual_quantity=actual.quantity,
        actual_cost=actual.cost,
        price=actual.cost - at_standard,
        usage=at_standard - planned_cost,
        priced=known,
    )


def variances(compared: Iterable[Compared], *, planned_bars: int, good_bars: int) -> Variances:
    """All differences of a batch. Raises CostNotKnown without planned bars, and as above."""
    faults = Faults()
    if planned_bars <= 0:
        faults.add("no-bars", "Without planned bars there is no standard.", "planned_bars")
    if good_bars < 0:
        faults.add("below-zero", "A count cannot be below zero.", "good_bars")
    faults.raise_if_any(CostNotKnown)
    inputs = tuple(input_variance(each) for each in compared)
    planned_cost = sum(each.planned_cost for each in inputs)
    return Variances(
        planned_bars=planned_bars,
        good_bars=good_bars,
        inputs=inputs,
        planned_cost=planned_cost,
        allowed=round(Fraction(planned_cost * good_bars, planned_bars)),
        actual_cost=sum(each.actual_cost for each in inputs),
    )
