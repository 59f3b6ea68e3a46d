"""The trace of a lot as plain functions: levels, and who still has what."""

from collections import Counter
from datetime import date, timedelta

import networkx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.shipping.trace import (
    CustomerShare,
    Direction,
    Shipped,
    Trace,
    TracedLot,
    by_customer,
    levels,
    totals,
)

DAY = date(2026, 3, 2)


def lot(number, **values):
    return TracedLot(
        id=number,
        code=f"L-{number}",
        material="olive",
        material_name="Olive",
        kind="fat",
        counted=False,
        state="released",
        state_reason="",
        received_on=DAY,
        received_amount=9,
        on_hand=4,
        supplier="",
        supplier_lot="",
        document="delivery:D-00001",
        **values,
    )


def test_levels_are_the_fewest_steps():
    # 1 into 2 into 3 into 4, and 1 into 4 at once; 5 and 6 have no part in it.
    steps = [(3, 4), (1, 2), (2, 3), (1, 4), (5, 6)]
    assert levels(1, steps) == {1: 0, 2: 1, 4: 1, 3: 2}
    assert levels(2, steps) == {2: 0, 3: 1, 4: 2}
    assert levels(4, steps) == {4: 0}
    assert levels(9, steps) == {9: 0}


@pytest.mark.parametrize("turn", [1, -1])
def test_a_short_way_counts_also_where_a_long_one_is_found_first(turn):
    long, short = [(1, 3), (3, 4), (4, 5), (5, 6)], [(1, 2), (2, 6)]
    assert levels(1, (long + short)[::turn])[6] == 2


def test_a_circle_is_walked_once():
    # Ends that go into the next batch of the same soap, and back.
    assert levels(1, [(1, 2), (2, 3), (3, 1), (3, 3)]) == {1: 0, 2: 1, 3: 2}


@given(st.integers(0, 9), st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9)), max_size=40))
def test_both_ways_are_the_shortest_paths_of_a_graph(start, pairs):
    graph = networkx.DiGraph(pairs)
    graph.add_node(start)
    lengths = networkx.single_source_shortest_path_length
    assert levels(start, pairs) == lengths(graph, start)
    back = [(other, one) for one, other in pairs]
    assert levels(start, back) == lengths(graph.reverse(), start)


def test_a_trace_begins_with_the_lot_that_was_asked_about():
    found = Trace(direction=Direction.UP, lots=(lot(3), lot(1, level=1)), links=())
    assert found.start == lot(3)


def shipped(customer="Hill", number=1, *, days=0, amount=1, lot="L-1", material="bar"):
    return Shipped(
        lot=lot,
        material=material,
        material_name=material.capitalize(),
        customer=customer,
        shipment=f"S-{number}",
        reference="",
        shipped_on=DAY + timedelta(days=days),
        amount=amount,
        counted=True,
    )


def test_customers_come_by_name_and_theirs_by_day_shipment_and_lot():
    late, early = shipped("Hill", 1, days=5), shipped("Hill", 9, days=1)
    second, first = shipped("Hill", 9, days=1, lot="L-2"), early
    ninth = shipped("Hill", 8, days=1, lot="L-3")
    other = shipped("Beech", 4, days=9)
    assert by_customer([late, second, other, first, ninth]) == (
        CustomerShare("Beech", (other,)),
        CustomerShare("Hill", (ninth, first, second, late)),
    )
    assert by_customer([]) == ()


sent = st.builds(
    shipped,
    customer=st.sampled_from(["Hill", "Beech", "Lake"]),
    number=st.integers(1, 3),
    days=st.integers(0, 3),
    amount=st.integers(0, 50),
    lot=st.sampled_from(["L-1", "L-2"]),
    material=st.sampled_from(["bar", "box"]),
)


@given(st.lists(sent, max_size=20))
def test_nothing_that_a_customer_has_is_lost_or_told_twice(some):
    shares = by_customer(some)
    assert Counter(one for each in shares for one in each.shipped) == Counter(some)
    assert all(one.customer == each.customer for each in shares for one in each.shipped)
    assert len({each.customer for each in shares}) == len(shares)
    found = totals(some)
    assert set(found) == {one.material for one in some}
    for material, amount in found.items():
        assert amount == sum(one.amount for one in some if one.material == material)
