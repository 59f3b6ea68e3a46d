"""At which prices materials are valued: each basis once, with its words and what it looks up.

To add a basis: a class that reads what it looks up and prices needs by it, and a member of
`PriceBasis` that names it. Answers, pages and drawings take it from there.
"""

from abc import ABC, abstractmethod
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from typing import TYPE_CHECKING, ClassVar, Self

from costing.domain.bar_cost.recipe_cost import Buy, replaced_at_offers, taken_at_average
from costing.domain.bar_cost.replacement import OfferTerms
from costing.domain.rates.rates import RateKind, Rates
from costing.queries.bar_cost.not_known import NotKnown
from costing.queries.bar_cost.replacement import bought_in, offers_of_day, replaced
from inventory.domain.stock.lots import MovingAverage, is_usable
from inventory.queries.stock.candidates import candidates, plan_picks, view_of
from inventory.queries.stock.on_hand import held_on_average
from recipes.queries.levels.explosion import Production, production_below
from recipes.queries.scaling.plans import Plan
from studio.foundation.money import share

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material
    from inventory.models.stock.lots import Lot


@dataclass(slots=True)
class Priced:
    """Cost and source by material id, the amounts that have no price, and materials of blends.

    The cost of `too_low` lacks labor or overhead of what was made here, that of `unknown` something
    at all; `missed` are the rates that the making of blends waits for, `untold` whether it waits
    for minutes that nobody stated. `paid` are the days on which those were last bought, for that
    price, that nobody offers.
    """

    costs: dict[int, int] = field(default_factory=dict)
    sources: dict[int, str] = field(default_factory=dict)
    unpriced: dict[int, int] = field(default_factory=dict)
    below: Mapping[int, "Material"] = field(default_factory=dict)
    too_low: frozenset[int] = frozenset()
    unknown: frozenset[int] = frozenset()
    missed: tuple[RateKind, ...] = ()
    untold: bool = False
    paid: Mapping[int, date] = field(default_factory=dict)


class LookUp(ABC):
    """What a basis looks up once for all plans of a day, and how it prices needs by it."""

    #: How needs are valued at prices that are only asked about; None where none can be.
    buy: ClassVar[Buy | None] = None
    #: Whether offers say the prices; blends that are made here are then taken apart.
    from_offers: ClassVar[bool] = False

    @classmethod
    @abstractmethod
    def read(cls, plans: Sequence[Plan], *, on: date, rates: Rates, lacking: NotKnown) -> Self:
        """All that these plans are priced by; `lacking` are lots whose cost is not known wholly.

        A fixed number of queries, however many plans.
        """

    @abstractmethod
    def price(self, needs: Mapping[int, int]) -> Priced:
        """The needs of one of the plans. No query."""


@dataclass(frozen=True, slots=True)
class PickedLots(LookUp):
    """Each lot that would be picked, at its own cost; what no lot covers is missing. One query."""

    on: date
    lots: Mapping[int, "Lot"]
    lacking: Collection[int] = ()

    @classmethod
    def read(cls, plans: Sequence[Plan], *, on: date, rates: Rates, lacking: NotKnown) -> Self:
        largest: dict[int, int] = {}
        for plan in plans:
            for pk, need in plan.needs.items():
                largest[pk] = max(largest.get(pk, 0), need)
        return cls(on, candidates(largest, on=on), lacking.lots)

    def price(self, needs: Mapping[int, int]) -> Priced:
        there = dict.fromkeys(needs, 0)
        for lot in self.lots.values():
            view = view_of(lot)
            if view.material in there and is_usable(view, on=self.on):
                there[view.material] += view.available
        covered = {pk: min(need, there[pk]) for pk, need in needs.items() if there[pk]}
        priced = Priced()
        for pk, picks in plan_picks(covered, self.lots, {}, on=self.on).picks.items():
            priced.costs[pk] = sum(
                share(each.lot.cost, each.amount, each.lot.on_hand) for each in picks
            )
            priced.sources[pk] = ", ".join(each.lot.code for each in picks)
            if any(each.lot.id in self.lacking for each in picks):
                priced.too_low |= {pk}
        priced.unpriced = {
            pk: need - covered.get(pk, 0) for pk, need in needs.items() if need > covered.get(pk, 0)
        }
        priced.unknown = priced.too_low | priced.unpriced.keys()
        return priced


@dataclass(frozen=True, slots=True)
class HeldOnAverage(LookUp):
    """The average of all that is held and may be used (IAS 2 paragraph 25), reserved or not.

    One query, and one more where something is not known.
    """

    averages: Mapping[int, MovingAverage]
    lacking: frozenset[int] = frozenset()
    buy: ClassVar[Buy | None] = staticmethod(taken_at_average)

    @classmethod
    def read(cls, plans: Sequence[Plan], *, on: date, rates: Rates, lacking: NotKnown) -> Self:
        averages = held_on_average({pk for plan in plans for pk in plan.needs}, on=on)
        return cls(averages, lacking.materials)

    def price(self, needs: Mapping[int, int]) -> Priced:
        known = self.averages
        unpriced = {pk: need for pk, need in needs.items() if pk not in known}
        too_low = self.lacking & needs.keys() & known.keys()
        return Priced(
            costs={pk: known[pk].cost_of(need) for pk, need in needs.items() if pk in known},
            unpriced=unpriced,
            too_low=too_low,
            unknown=too_low | unpriced.keys(),
        )


@dataclass(frozen=True, slots=True)
class BoughtAnew(LookUp):
    """All needs bought together with freight; blends that are made here, of what is bought.

    One query, and two for each level of blends.
    """

    rates: Rates
    production: Production
    offers: Mapping[int, list[OfferTerms]]
    buy: ClassVar[Buy | None] = staticmethod(replaced_at_offers)
    from_offers: ClassVar[bool] = True

    @classmethod
    def read(cls, plans: Sequence[Plan], *, on: date, rates: Rates, lacking: NotKnown) -> Self:
        materials = {pk: material for plan in plans for pk, material in plan.materials.items()}
        production = production_below(materials.values())
        return cls(rates, production, offers_of_day(bought_in(production), on=on))

    def price(self, needs: Mapping[int, int]) -> Priced:
        found = replaced(needs, self.production, self.offers, rates=self.rates)
        return Priced(
            costs=dict(found.costs),
            sources=dict(found.sources),
            unpriced=dict(found.missing),
            below=self.production.materials,
            unknown=frozenset(found.missed) | found.lacking,
            missed=tuple(kind for kinds in found.missed.values() for kind in kinds),
            untold=found.untold,
            paid=found.paid,
        )


class Basis(StrEnum):
    """A basis by its value: `words` name it on pages, `lacking` says why a price is missing."""

    words: str
    lacking: str
    look_up: type[LookUp]

    def __new__(
        cls, value: str, words: str = "", lacking: str = "", look_up: type[LookUp] = LookUp
    ) -> Self:
        """The member, which is its value and has the rest beside it; looked up by its value."""
        member = str.__new__(cls, value)
        member._value_ = value
        member.words, member.lacking, member.look_up = words, lacking, look_up
        return member


class PriceBasis(Basis):
    """At which prices the materials of a plan are valued."""

    PICKED_LOTS = (
        "picked_lots",
        "The lots it would take",
        "No lot that may be used covers it.",
        PickedLots,
    )
    MOVING_AVERAGE = (
        "moving_average",
        "Average paid",
        "None of it is held, so there is no average.",
        HeldOnAverage,
    )
    REPLACEMENT = (
        "replacement",
        "At today's prices",
        "No supplier offers it on that day, and none of it was ever bought.",
        BoughtAnew,
    )


#: All of them, as choices of a field.
CHOICES = [(basis.value, basis.value) for basis in PriceBasis]
