"""Traces are what networkx says of the same productions, on both databases."""

import networkx
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.domain.shipping.trace import Direction, levels
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot, LotLink
from inventory.queries.shipping.recall import affected_by
from inventory.queries.shipping.trace import trace
from studio.foundation.errors import NotFound
from tests.inventory.production_graphs import chain, produce, steps

ANY_STEPS = st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9)), max_size=40)


@given(ANY_STEPS)
def test_levels_are_shortest_paths(pairs):
    graph = networkx.DiGraph(pairs)
    graph.add_node(0)
    assert levels(0, pairs) == networkx.single_source_shortest_path_length(graph, 0)


@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(plan=steps())
def test_traces_are_those_of_the_graph(database, plan):
    """Cycles too: a plan may put a later lot into an earlier one."""
    made = produce(plan)
    for direction, graph in ((Direction.DOWN, made.graph), (Direction.UP, made.graph.reverse())):
        for lot in made.lots:
            found = trace(lot.code, direction)
            depths = networkx.single_source_shortest_path_length(graph, lot.code)
            assert {one.code: one.level for one in found.lots} == depths
            inside = made.graph.subgraph(depths)
            assert {(e.parent, e.child): e.amount for e in found.links} == {
                (one, other): amount for one, other, amount in inside.edges.data("amount")
            }
            assert found.start.code == lot.code
            assert [one.level for one in found.lots] == sorted(one.level for one in found.lots)
    database.restore()


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(plan=steps())
def test_what_was_consumed_for_a_document_is_what_its_links_say(database, plan):
    """Each consumption has its links, and they are of the same amount together."""
    produce(plan)
    consumed: dict[tuple[str, int], int] = {}
    for entry in StockEntry.objects.filter(verb="consume"):
        key = (entry.reference, entry.lot_id)
        consumed[key] = consumed.get(key, 0) - entry.on_hand
    linked: dict[tuple[str, int], int] = {}
    for link in LotLink.objects.all():
        into = (link.reference, link.parent_id)
        linked[into] = linked.get(into, 0) + link.amount
    assert linked == consumed
    database.restore()


def test_the_facts_of_a_lot_are_told(database):
    made = produce(chain(1))
    lot = Lot.objects.get(code=made.lots[-1].code)
    start = trace(lot.code, Direction.UP).start
    assert (start.material, start.received_on, start.received_amount, start.on_hand) == (
        lot.material.code,
        lot.received_on,
        lot.received_amount,
        lot.on_hand,
    )
    assert start.document.startswith("batch:") and start.state == "released"
    assert start.counted is False


def test_an_unknown_lot_has_no_trace(database):
    with pytest.raises(NotFound):
        trace("nothing", Direction.DOWN)


def test_the_number_of_queries_does_not_depend_on_the_depth(database):
    made = produce(chain(25), raw=1)
    top, last = made.lots[0].code, made.lots[-1].code
    for ask, code, queries in (
        (lambda code: trace(code, Direction.DOWN), top, 3),
        (lambda code: trace(code, Direction.UP), last, 3),
        (affected_by, top, 5),
        (affected_by, last, 5),
    ):
        with CaptureQueriesContext(connection) as asked:
            ask(code)
        assert len(asked) == queries
    assert len(trace(top, Direction.DOWN).lots) == 26
