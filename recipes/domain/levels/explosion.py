"""From what a batch needs to the batches that must be made first, over any number of levels.

Each material is netted once, after all that use it (low-level coding), against what is free of it;
what is short of a material that is made here is proposed as one batch, whose own needs go on to
the materials below. (Material requirements planning, from memory of its standard texts.) Amounts
are stock units: ng of what is weighed, pieces of what is counted.
"""

from collections import defaultdict
from collections.abc import Callable, Collection, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import Protocol, TypeVar

from inventory.domain.stock.promises import Supply
from recipes.domain.chemistry.blends import BlendLine, ScaledBlend, scale_blend
from recipes.domain.formulas.formula import ZERO
from recipes.domain.scales import Scales, as_scales
from recipes.domain.weighing import LARGEST
from recipes.errors import ProductionCycle, ScalingRefusal

Key = TypeVar("Key", bound=Hashable)
NO_SUPPLY = Supply()


def making_order(
    made_of: Mapping[Key, Collection[Key]],
    tops: Iterable[Key],
    *,
    name: Callable[[Key], str] = str,
) -> tuple[Key, ...]:
    """All that `tops` need, each after everything that uses it; read backward, it is making order.

    `made_of` says what each made material is made of, `name` how to call one. Raises
    ProductionCycle with the path from a material down to itself.
    """
    done: dict[Key, None] = {}
    for top in tops:
        if cycle := _descend(top, made_of, done):
            names = [name(step) for step in cycle]
            raise ProductionCycle(
                f"{names[0]} would be needed to make itself: {' > '.join(names)}.",
                details={"path": names},
            )
    return tuple(reversed(done))


def _descend(top: Key, made_of: Mapping[Key, Collection[Key]], done: dict[Key, None]) -> list[Key]:
    """Walk down without recursion, so that no number of levels is too many; the cycle, if any."""
    if top in done:
        return []
    path: dict[Key, Iterator[Key]] = {top: iter(made_of.get(top, ()))}
    while path:
        here = next(reversed(path))
        below = next((part for part in path[here] if part not in done), None)
        if below is None:
            done[here] = None
            path.popitem()
        elif below in path:
            steps = list(path)
            return [*steps[steps.index(below) :], below]
        else:
            path[below] = iter(made_of.get(below, ()))
    return []


@dataclass(frozen=True, slots=True, kw_only=True)
class Sized:
    """A batch at its size: `target` is what to scale to, `output` what is expected of it."""

    target: int
    output: int
    needs: Mapping[int, int]


class Maker(Protocol):
    """Whatever makes a material here: what it is made of, how long it takes, and its sizes."""

    @property
    def ready_days(self) -> int:
        """Days from its start until it can be used."""

    @property
    def materials(self) -> Collection[int]:
        """All that it is made of, at any size."""

    def size(self, wanted: int) -> Sized:
        """The batch that makes at least so much."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """One material over all that use it: needed by `due_on`, of which `free` is there then.

    `first_on` is the earliest day on which it could be whole: from the shelf, from what is being
    made, from the batches proposed here, or bought; None when nothing brings it.
    """

    material: int
    needed: int
    free: int
    due_on: date
    first_on: date | None

    @property
    def short(self) -> int:
        """What is missing."""
        return max(self.needed - self.free, 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """A batch to make: started on `start_on`, ready on `ready_on`, wanted by the need's day.

    `users` are the materials whose batches use it; None among them is the batch at the top.
    """

    need: Need
    sized: Sized
    start_on: date
    ready_on: date
    users: tuple[int | None, ...]

    @property
    def late(self) -> bool:
        """Whether it is ready only after the day on which it is wanted."""
        return self.ready_on > self.need.due_on


@dataclass(frozen=True, slots=True, kw_only=True)
class Explosion:
    """The answer: batches in the order in which they are made, and every need by its material.

    `first_on` is the earliest day for the batch at the top; None when something is not to be had.
    """

    proposals: tuple[Proposal, ...]
    needs: Mapping[int, Need]
    first_on: date | None

    @property
    def shortages(self) -> tuple[Need, ...]:
        """What is short and not made here, the most urgent first."""
        made = {proposal.need.material for proposal in self.proposals}
        short = [need for need in self.needs.values() if need.short and need.material not in made]
        return tuple(sorted(short, key=lambda need: (need.due_on, need.material)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelf:
    """What there is: supply by material, when more could be bought, and the first day to begin.

    Nothing starts before `since`; None lets batches start on any day, for plans of the past.
    """

    supply: Mapping[int, Supply]
    bought_on: Mapping[int, date]
    since: date | None = None


def explode(
    needs: Mapping[int, int],
    *,
    on: date,
    makers: Mapping[int, Maker],
    shelf: Shelf,
    name: Callable[[int], str] = str,
) -> Explosion:
    """What a batch on a day needs, level by level, and the batches to make for it.

    Raises ProductionCycle when a material is needed to make itself; `name` calls it by its name.
    """
    made_of = {material: maker.materials for material, maker in makers.items()}
    order = making_order(made_of, needs, name=name)
    walk = _Walk(on=on, makers=makers, shelf=shelf)
    walk.ask(needs, user=None, due_on=on)
    for material in order:
        walk.settle(material)
    return walk.answer(order, needs)


class _Walk:
    """One pass down: what is asked of each material so far, and what was proposed."""

    def __init__(self, *, on: date, makers: Mapping[int, Maker], shelf: Shelf) -> None:
        self.on, self.makers, self.shelf = on, makers, shelf
        self.asked: dict[int, int] = defaultdict(int)
        self.due: dict[int, date] = {}
        self.users: dict[int, list[int | None]] = defaultdict(list)
        self.sized: dict[int, Sized] = {}
        self.start: dict[int, date] = {}

    def ask(self, needs: Mapping[int, int], *, user: int | None, due_on: date) -> None:
        """A batch needs these on the day it starts."""
        for material, amount in needs.items():
            if amount > 0:
                self.asked[material] += amount
                self.due[material] = min(due_on, self.due.get(material, due_on))
                self.users[material].append(user)

    def settle(self, material: int) -> None:
        """All that use it have asked: propose a batch of what is short, and ask for its needs."""
        maker = self.makers.get(material)
        if maker is None or material not in self.due:
            return
        short = self.asked[material] - self._free(material)
        if short <= 0:
            return
        sized = self.sized[material] = maker.size(short)
        start = days_before(self.due[material], maker.ready_days)
        if self.shelf.since is not None:
            start = max(start, self.shelf.since)
        self.start[material] = start
        self.ask(sized.needs, user=material, due_on=start)

    def answer(self, order: Iterable[int], top: Mapping[int, int]) -> Explosion:
        """Back up from the bottom: the earliest days, and batches in the order of making."""
        needs: dict[int, Need] = {}
        proposals = []
        for material in reversed([m for m in order if m in self.due]):
            need = needs[material] = Need(
                material=material,
                needed=self.asked[material],
                free=self._free(material),
                due_on=self.due[material],
                first_on=self._first(material, needs),
            )
            if material in self.sized:
                proposals.append(self._proposal(need))
        first = _latest(needs[m].first_on for m, amount in top.items() if amount > 0)
        return Explosion(
            proposals=tuple(proposals), needs=needs, first_on=first if top else self.on
        )

    def _free(self, material: int) -> int:
        return self.shelf.supply.get(material, NO_SUPPLY).free_by(self.due[material])

    def _first(self, material: int, below: Mapping[int, Need]) -> date | None:
        """The earliest day for a material, those below it being known."""
        since = self.shelf.since or self.due[material]
        if material in self.sized:
            parts = [below[m].first_on for m, n in self.sized[material].needs.items() if n > 0]
            last = _latest([*parts, since])
            ready_days = self.makers[material].ready_days
            return None if last is None else days_after(last, ready_days)
        supply = self.shelf.supply.get(material, NO_SUPPLY)
        there = supply.first_day(self.asked[material], since=since)
        return there or self.shelf.bought_on.get(material)

    def _proposal(self, need: Need) -> Proposal:
        start = self.start[need.material]
        return Proposal(
            need=need,
            sized=self.sized[need.material],
            start_on=start,
            ready_on=days_after(start, self.makers[need.material].ready_days),
            users=tuple(self.users[need.material]),
        )


def _latest(days: Iterable[date | None]) -> date | None:
    """The last of these days; None when one of them never comes."""
    known: list[date] = []
    for day in days:
        if day is None:
            return None
        known.append(day)
    return max(known, default=None)


def days_before(day: date, days: int) -> date:
    """So many days earlier, but not before the calendar begins."""
    return date.fromordinal(max(day.toordinal() - days, 1))


def days_after(day: date, days: int) -> date:
    """So many days later, but not after the calendar ends."""
    return day + min(timedelta(days), date.max - day)


@dataclass(frozen=True, slots=True, kw_only=True)
class BlendMaker:
    """A blend as the explosion sees it: `materials` name those of `lines`, in their order.

    Amounts in ng; `resolution` is what it is weighed on, or a step; `least_make` is the smallest
    batch worth making; `makes` as in `check_blend`.
    """

    name: str
    lines: Sequence[BlendLine]
    materials: Sequence[int]
    resolution: Scales | int
    loss_share: Decimal = ZERO
    least_make: int = 0
    ready_days: int = 0
    makes: str = ""

    def size(self, wanted: int) -> Sized:
        """The smallest target in steps of its scale whose output is at least `wanted` ng.

        Each line is rounded to its scale, so a target's output may fall short of it by half a step
        a line (of alkali by a step); the target grows by what is missing. Raises ScalingRefusal
        above 10 t.
        """
        scales = as_scales(self.resolution)
        target = scales.up(Decimal(max(wanted, self.least_make)))
        while (blend := self._scaled(target)).output_ng < wanted:
            target = scales.up(Decimal(target + wanted - blend.output_ng))
        return Sized(target=target, output=blend.output_ng, needs=self._needs(blend))

    def _scaled(self, target: int) -> ScaledBlend:
        if target > LARGEST:
            raise ScalingRefusal(
                f"More than 10 t of {self.name} would be needed at once.", field="target"
            )
        return scale_blend(
            self.lines, target, self.resolution, makes=self.makes, loss_share=self.loss_share
        )

    def _needs(self, blend: ScaledBlend) -> Mapping[int, int]:
        needs: dict[int, int] = {}
        for material, weight in zip(self.materials, blend.weights, strict=True):
            if weight.rounded_ng:
                needs[material] = needs.get(material, 0) + weight.rounded_ng
        return needs
