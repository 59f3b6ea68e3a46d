"""What was made against what was planned: where the difference in cost comes from.

Standard costing (OpenStax, Principles of Accounting, volume 2, chapter 8; the split of efficiency
into usage and yield as in Horngren, Cost Accounting, its chapter on mix and yield; both from
memory):

    price (of labor: rate)        (actual price - standard price) x actual quantity
    usage (of labor: efficiency)  (actual quantity - planned quantity) x standard price
    yield                         (planned bars - good bars) x standard cost of a bar

Usage and yield together are the efficiency against what the standard allows for the good bars that
were made. All three add up exactly to the actual cost less the standard cost of the good bars.
Above zero is unfavorable: it cost more. Money is ten-thousandths. What is not known of an input is
None, and so is each sum that it would be part of.
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
    """A quantity and what it cost in all; None of either is not known."""

    quantity: int | None = 0
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

    `priced` is false where no price was known at planning: then the actual price stands in. What is
    not known is None: what it cost for want of a rate, what was planned for want of a time.
    """

    kind: CostKind
    code: str
    name: str
    unit: str
    planned_quantity: int | None
    planned_cost: Money | None
    actual_quantity: int | None
    actual_cost: Money | None
    price: Money | None
    usage: Money | None
    priced: bool = True

    @property
    def total(self) -> int | None:
        """Price and usage."""
        return _sum((self.price, self.usage))


@dataclass(frozen=True, slots=True, kw_only=True)
class VarianceSums:
    """The variances by what they come from; all but the last add up to it."""

    material_price: Money | None
    material_usage: Money | None
    labor_rate: Money | None
    labor_efficiency: Money | None
    overhead_price: Money | None
    overhead_usage: Money | None
    recovered: Money | None
    yield_variance: Money | None
    total: Money | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Variances:
    """All differences of a batch: prices + usages + `yield_` = actual - allowed.

    `planned_cost` is the standard cost of the batch as planned, `allowed` that of the good bars.
    """

    planned_bars: int
    good_bars: int
    inputs: tuple[InputVariance, ...]
    planned_cost: Money | None
    allowed: Money | None
    actual_cost: Money | None

    @property
    def yield_(self) -> Money | None:
        """What fewer (below zero: more) good bars than planned cost at standard."""
        return _difference(self.planned_cost, self.allowed)

    @property
    def total(self) -> Money | None:
        """Actual cost less the standard cost of the good bars."""
        return _difference(self.actual_cost, self.allowed)

    def price(self, *kinds: CostKind) -> int | None:
        """The price (rate) variance of these kinds, of all without any."""
        return _sum(each.price for each in self.inputs if not kinds or each.kind in kinds)

    def usage(self, *kinds: CostKind) -> int | None:
        """The usage (efficiency) variance of these kinds, of all without any."""
        return _sum(each.usage for each in self.inputs if not kinds or each.kind in kinds)

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
            recovered=_sum((self.price(CostKind.RECOVERED), self.usage(CostKind.RECOVERED))),
            yield_variance=self.yield_,
            total=self.total,
        )


def _sum(values: Iterable[int | None]) -> int | None:
    """The sum; None where a part of it is not known."""
    found = list(values)
    known = [value for value in found if value is not None]
    return sum(known) if len(known) == len(found) else None


def _difference(one: int | None, other: int | None) -> int | None:
    return None if one is None or other is None else one - other


def input_variance(compared: Compared) -> InputVariance:
    """Split the difference of one input into price and usage.

    Without a planned quantity there is no standard price: all of it is usage. Without an actual
    cost, or a time that was planned, neither is known; nor is the usage of what had no price when
    it was planned, and of which nothing was taken. Raises CostNotKnown for a quantity below
    zero.
    """
    planned, actual = compared.planned, compared.actual
    if (planned.quantity or 0) < 0 or (actual.quantity or 0) < 0:
        raise CostNotKnown("A quantity cannot be below zero.", field="quantity")
    planned_cost, at_standard = _at_standard(planned, actual)
    return InputVariance(
        kind=compared.kind,
        code=compared.code,
        name=compared.name,
        unit=compared.unit,
        planned_quantity=planned.quantity,
        planned_cost=planned_cost,
        actual_quantity=actual.quantity,
        actual_cost=actual.cost,
        price=_difference(actual.cost, at_standard),
        usage=_difference(at_standard, planned_cost),
        priced=planned.cost is not None or planned.quantity is None or actual.cost is None,
    )


def _at_standard(planned: Amount, actual: Amount) -> tuple[int | None, int | None]:
    """What was planned, and what the actual quantity costs at the standard price."""
    if actual.cost is None or actual.quantity is None or planned.quantity is None:
        return planned.cost, None
    if planned.cost is None and planned.quantity and not actual.quantity:
        return None, actual.cost  # no price is known, and none was paid
    if planned.cost is None:
        by_paid = Fraction(actual.cost * planned.quantity, actual.quantity or 1)
        return round(by_paid), actual.cost
    if not planned.quantity:
        return planned.cost, actual.cost
    return planned.cost, round(Fraction(planned.cost * actual.quantity, planned.quantity))


def variances(compared: Iterable[Compared], *, planned_bars: int, good_bars: int) -> Variances:
    """All differences of a batch. Raises CostNotKnown without planned bars, and as above."""
    faults = Faults()
    if planned_bars <= 0:
        faults.add("no-bars", "Without planned bars there is no standard.", "planned_bars")
    if good_bars < 0:
        faults.add("below-zero", "A count cannot be below zero.", "good_bars")
    faults.raise_if_any(CostNotKnown)
    inputs = tuple(input_variance(each) for each in compared)
    planned_cost = _sum(each.planned_cost for each in inputs)
    return Variances(
        planned_bars=planned_bars,
        good_bars=good_bars,
        inputs=inputs,
        planned_cost=planned_cost,
        allowed=None
        if planned_cost is None
        else round(Fraction(planned_cost * good_bars, planned_bars)),
        actual_cost=_sum(each.actual_cost for each in inputs),
    )
