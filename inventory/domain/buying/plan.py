"""What to buy, from whom and when: the question a buy plan answers, and the answer.

Amounts are in each material's stock unit (ng or pieces), money in ten-thousandths; all integers.
The rules that make a plan a plan stand in `buy_model`; its cost is summed up in `buy_plan_cost`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import StrEnum
from fractions import Fraction

from inventory.domain.catalog.packs import PriceBreak


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """So much of a material (its code) must have come by the end of a day; `why` in words.

    `order_on` is set where its reorder point is reached: it is ordered on that day, of whom is
    cheapest, since the point covers the days until any usual offer comes.
    """

    material: str
    amount: int
    due: date
    why: str = ""
    order_on: date | None = None


@dataclass(frozen=True, slots=True)
class StockStep:
    """From this day on, so much is expected on the shelf without the plan; below zero is short."""

    day: date
    amount: int


@dataclass(frozen=True, slots=True, kw_only=True)
class WantedMaterial:
    """What the plan must know of a material.

    `keeps_days` is its shelf life from arrival, `use_per_day` the use that is expected of it (None
    when too little is known of it, whatever is planned: then its shelf life cannot limit the plan).
    `space` is the most that may
    lie on the shelf at once; `stock` what lies there anyway, by day in ascending order.
    `holding_per_day` is the cost of keeping one stock unit for a day.
    """

    code: str
    name: str
    counted: bool = False
    keeps_days: int | None = None
    use_per_day: Fraction | None = None
    space: int | None = None
    stock: tuple[StockStep, ...] = ()
    holding_per_day: Fraction = Fraction(0)

    def stock_on(self, day: date) -> int:
        """What is expected on the shelf on a day without the plan."""
        return next((s.amount for s in reversed(self.stock) if s.day <= day), 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenOffer:
    """A pack of a material at a supplier's price; `breaks` ascend in packs."""

    code: str
    supplier: str
    material: str
    pack: int
    written: str
    price: int
    lead_days: int
    breaks: tuple[PriceBreak, ...] = ()
    minimum_packs: int = 1
    valid_from: date | None = None
    valid_until: date | None = None

    def holds_on(self, day: date) -> bool:
        """Whether it can be ordered on a day."""
        return (self.valid_from is None or self.valid_from <= day) and (
            self.valid_until is None or day <= self.valid_until
        )

    def arrives(self, ordered_on: date) -> date:
        """The day it comes when ordered on a day."""
        return ordered_on + timedelta(days=self.lead_days)


@dataclass(frozen=True, slots=True, kw_only=True)
class OfferingSupplier:
    """A supplier's terms for each order: the least goods are worth, what comes on top of them.

    `freight` is not charged when the goods are worth at least `free_freight_from`; `handling` is
    the studio's own cost of placing and taking in an order.
    """

    code: str
    name: str
    minimum_order: int = 0
    handling: int = 0
    freight: int = 0
    free_freight_from: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BuyRules:
    """The buyer's own rules. `budget` caps goods, freight and handling over all orders."""

    budget: int | None = None
    single_source: bool = False
    blocked: frozenset[str] = frozenset()
    keep_to_space: bool = True
    keep_to_shelf_life: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class BuyProblem:
    """Everything a plan is made from. What is left over is held until `horizon`.

    Orders may be placed on `order_dates`, in ascending order. Only what comes before a material's
    last need is bought. Needs whose index is `left_out` are there, but the plan need not meet them.
    """

    order_dates: tuple[date, ...]
    horizon: date
    materials: tuple[WantedMaterial, ...]
    needs: tuple[Need, ...]
    suppliers: tuple[OfferingSupplier, ...]
    offers: tuple[OpenOffer, ...]
    rules: BuyRules = field(default_factory=BuyRules)
    left_out: frozenset[int] = frozenset()

    @property
    def to_meet(self) -> list[tuple[int, Need]]:
        """The needs that the plan must meet, with their indexes."""
        return [(n, need) for n, need in enumerate(self.needs) if n not in self.left_out]

    def needs_of(self, material: str) -> list[Need]:
        """The needs of a material, soonest first."""
        return sorted((n for n in self.needs if n.material == material), key=lambda n: n.due)

    def last_due(self, material: str) -> date | None:
        """The day of a material's last need."""
        return max((n.due for n in self.needs if n.material == material), default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class BuyLine:
    """Packs of one offer in one order; `price` is for all of them, at `pack_price` each."""

    offer: str
    material: str
    packs: int
    amount: int
    pack_price: int
    price: int
    arrives_on: date


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedOrder:
    """What is ordered of one supplier on one day."""

    supplier: str
    order_on: date
    lines: tuple[BuyLine, ...]
    freight: int
    handling: int

    @property
    def goods(self) -> int:
        """What the goods of the order cost."""
        return sum(line.price for line in self.lines)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanCost:
    """What a plan costs, by kind; `holding` is what keeping the stock costs until the horizon."""

    goods: int
    freight: int
    handling: int
    holding: int

    @property
    def paid(self) -> int:
        """Goods, freight and handling: what a budget caps."""
        return self.goods + self.freight + self.handling

    @property
    def total(self) -> int:
        """What the plan makes as small as can be."""
        return self.paid + self.holding


@dataclass(frozen=True, slots=True, kw_only=True)
class PricedPlan:
    """Orders that together meet the needs, and their cost."""

    orders: tuple[PlannedOrder, ...]
    cost: PlanCost

    @property
    def lines(self) -> Sequence[tuple[PlannedOrder, BuyLine]]:
        """All lines, each with its order."""
        return [(order, line) for order in self.orders for line in order.lines]


class Outcome(StrEnum):
    """How far a plan is proven."""

    PROVEN = "proven"
    """No plan is cheaper."""
    BEST_SO_FAR = "best-so-far"
    """Time ran out; the gap says how much cheaper another could be at most."""
    NOTHING_FOUND = "nothing-found"
    """Time ran out before any plan was found."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Obstacle:
    """What stands in the way of a need: a code for programs and a sentence."""

    code: str
    message: str


@dataclass(frozen=True, slots=True, kw_only=True)
class UnmetNeed:
    """A need that no plan meets together with the others."""

    need: Need
    obstacles: tuple[Obstacle, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """The cheapest plan found and its proof.

    No plan costs less than `bound`, so `gap` is the most that could be saved; 0 when proven.
    `runner_up` is the cheapest plan that buys another number of packs of at least one offer, over
    all order dates; with `runner_up_proven` and no runner-up there is no other plan. With `unmet`
    needs the plan is for all others: the fewest are `left_out` (their indexes), and among those
    choices any one.
    """

    outcome: Outcome
    plan: PricedPlan | None
    bound: int | None
    runner_up: PricedPlan | None = None
    runner_up_proven: bool = False
    unmet: tuple[UnmetNeed, ...] = ()
    left_out: frozenset[int] = frozenset()

    @property
    def gap(self) -> int | None:
        """The most that a better plan could save, in ten-thousandths."""
        if self.plan is None or self.bound is None:
            return None
        return self.plan.cost.total - self.bound
