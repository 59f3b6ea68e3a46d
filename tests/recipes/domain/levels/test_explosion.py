"""The explosion over random production graphs, beside a recursive model and networkx."""

from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

import networkx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.stock.promises import Supply
from recipes.domain.levels.explosion import (
    Shelf,
    Sized,
    days_after,
    days_before,
    explode,
    making_order,
)
from recipes.errors import ProductionCycle

DAY = date(2026, 3, 2)


@dataclass(frozen=True)
class Mixed:
    """A made-up maker: so much of each part for one unit of output, in lots of `step`."""

    parts: tuple[tuple[int, int], ...]
    step: int = 1
    ready_days: int = 0

    @property
    def materials(self):
        return [part for part, _ in self.parts]

    def size(self, wanted):
        output = -(-wanted // self.step) * self.step
        needs = {}
        for part, each in self.parts:
            needs[part] = needs.get(part, 0) + each * output
        return Sized(target=output, output=output, needs=needs)


@st.composite
def productions(draw, most=9):
    """Materials 0..n-1; each made one uses only materials with a higher number."""
    count = draw(st.integers(1, most))
    makers = {}
    for material in range(count - 1):
        if draw(st.booleans()):
            below = st.integers(material + 1, count - 1)
            parts = draw(st.lists(below, min_size=1, max_size=4, unique=True))
            makers[material] = Mixed(
                tuple((part, draw(st.integers(1, 3))) for part in parts),
                step=draw(st.integers(1, 7)),
                ready_days=draw(st.integers(0, 20)),
            )
    tops = draw(st.lists(st.integers(0, count - 1), min_size=1, max_size=3, unique=True))
    needs = {top: draw(st.integers(1, 50)) for top in tops}
    shelf = {m: Supply(available=draw(st.integers(0, 120))) for m in range(count)}
    return needs, makers, shelf


class Recursive:
    """The same by asking upward: what each user takes, when, again and again."""

    def __init__(self, needs, makers, supply):
        self.needs, self.makers, self.supply = needs, makers, supply

    def needed(self, material):
        users = [self.made(m) for m, maker in self.makers.items() if material in maker.materials]
        return self.needs.get(material, 0) + sum(user.needs[material] for user in users if user)

    def made(self, material):
        short = self.needed(material) - self.supply[material].available
        maker = self.makers.get(material)
        return maker.size(short) if maker and short > 0 else None

    def due(self, material):
        days = [DAY] if material in self.needs else []
        for user, maker in self.makers.items():
            if material in maker.materials and self.made(user):
                days.append(self.due(user) - timedelta(maker.ready_days))
        return min(days)


@given(productions())
def test_levels_agree_with_the_recursive_model(production):
    needs, makers, supply = production
    found = explode(needs, on=DAY, makers=makers, shelf=Shelf(supply=supply, bought_on={}))
    model = Recursive(needs, makers, supply)
    wanted = {m: model.needed(m) for m in supply if model.needed(m)}
    assert {m: need.needed for m, need in found.needs.items()} == wanted
    assert {m: need.due_on for m, need in found.needs.items()} == {m: model.due(m) for m in wanted}
    made = {p.need.material: p.sized for p in found.proposals}
    assert made == {m: model.made(m) for m in makers if model.made(m)}
    bought = {m for m in wanted if m not in makers and wanted[m] > supply[m].available}
    assert {need.material for need in found.shortages} == bought
    for need in found.shortages:
        assert need.short == wanted[need.material] - supply[need.material].available


@given(productions())
def test_what_is_used_is_made_before_and_nothing_is_short_once_all_is_made(production):
    needs, makers, supply = production
    found = explode(needs, on=DAY, makers=makers, shelf=Shelf(supply=supply, bought_on={}))
    shelf = {m: each.available for m, each in supply.items()}
    for need in found.shortages:
        shelf[need.material] += need.short
    started = {}
    for proposal in found.proposals:
        for part, amount in proposal.sized.needs.items():
            shelf[part] -= amount
            assert shelf[part] >= 0
        shelf[proposal.need.material] += proposal.sized.output
        started[proposal.need.material] = proposal.start_on
        assert proposal.ready_on == proposal.need.due_on and not proposal.late
        for user in proposal.users:
            assert user is None or user not in started  # its users come later
    for part, amount in needs.items():
        shelf[part] -= amount
        assert shelf[part] >= 0


@st.composite
def graphs(draw):
    count = draw(st.integers(1, 7))
    node = st.integers(0, count - 1)
    edges = draw(st.lists(st.tuples(node, node), max_size=12, unique=True))
    return count, edges


@given(graphs())
def test_cycles_and_order_agree_with_networkx(given_graph):
    count, edges = given_graph
    graph = networkx.DiGraph(edges)
    graph.add_nodes_from(range(count))
    made_of = {m: list(graph.successors(m)) for m in graph}
    if networkx.is_directed_acyclic_graph(graph):
        order = making_order(made_of, range(count))
        assert sorted(order) == list(range(count))
        place = {material: index for index, material in enumerate(order)}
        assert all(place[user] < place[used] for user, used in edges)
        some = making_order(made_of, [0])
        assert set(some) == {0} | networkx.descendants(graph, 0)
    else:
        with pytest.raises(ProductionCycle) as refused:
            making_order(made_of, range(count))
        path = [int(step) for step in refused.value.faults[0].details["path"]]
        assert path[0] == path[-1]
        assert all(pair in graph.edges for pair in pairwise(path))


def test_many_levels_need_no_recursion():
    makers = {level: Mixed(((level + 1, 1),), ready_days=1) for level in range(3000)}
    found = explode({0: 5}, on=DAY, makers=makers, shelf=Shelf(supply={}, bought_on={}))
    assert len(found.proposals) == 3000
    assert found.proposals[0].start_on == DAY - timedelta(3000)
    with pytest.raises(ProductionCycle):
        explode(
            {0: 5},
            on=DAY,
            makers={**makers, 3000: Mixed(((0, 1),))},
            shelf=Shelf(supply={}, bought_on={}),
        )


def test_a_material_of_two_levels_is_netted_once_after_both_have_asked():
    # 0 is made of 1 and 2, and 1 of 2: the 10 of 2 on the shelf must not be counted twice.
    makers = {0: Mixed(((1, 1), (2, 1))), 1: Mixed(((2, 1),)), 2: Mixed(((3, 1),))}
    supply = {2: Supply(available=10)}
    found = explode({0: 10}, on=DAY, makers=makers, shelf=Shelf(supply=supply, bought_on={}))
    assert found.needs[2].needed == 20 and found.needs[3].needed == 10
    assert [p.need.material for p in found.proposals] == [2, 1, 0]
    assert [p.users for p in found.proposals] == [(0, 1), (0,), (None,)]


def test_what_takes_time_starts_earlier_and_is_late_when_it_cannot():
    makers = {0: Mixed(((1, 1),), ready_days=14), 1: Mixed(((2, 1),), ready_days=3)}
    since = DAY - timedelta(10)
    late = explode(
        {0: 1},
        on=DAY,
        makers=makers,
        shelf=Shelf(supply={}, bought_on={2: since + timedelta(5)}, since=since),
    )
    below, above = late.proposals
    assert (above.start_on, above.ready_on, above.late) == (since, since + timedelta(14), True)
    assert below.need.due_on == above.start_on and below.late
    assert late.first_on == since + timedelta(5 + 3 + 14)
    assert explode(
        {0: 1}, on=DAY, makers=makers, shelf=Shelf(supply={}, bought_on={})
    ).first_on is (None)


def test_the_calendar_has_ends():
    assert days_before(date.min, 5) == date.min
    assert days_after(date.max, 5) == date.max
