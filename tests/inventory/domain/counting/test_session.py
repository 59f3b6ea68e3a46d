"""What a find means once the books have moved on."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.counting.session import Find, Moved
from inventory.domain.stock.ledger import Balance


def find(found, expected, on_hand, cost=0):
    return Find(found=found, expected=expected, books=Balance(on_hand=on_hand, cost=cost))


@pytest.mark.parametrize(
    ("counted", "moved", "to_post", "value"),
    [
        # 8 found where the books had 10: two are gone, at 5 each.
        (find(8, 10, 10, 50), None, 8, -10),
        # Since then 4 of the 10 were used. Really after the count, two are still gone; before it
        # and booked late, the 8 show it already, and two turned up.
        (find(8, 10, 6, 30), Moved.AFTER_COUNT, 4, -10),
        (find(8, 10, 6, 30), Moved.BEFORE_COUNT, 8, 10),
        (find(10, 10, 6, 30), Moved.AFTER_COUNT, 6, 0),
        # Nothing was there any more, and of nothing there is no cost to go by.
        (find(3, 0, 0), None, 3, 0),
        # Two missing of one that is left: the answer cannot be true, and has no value.
        (find(8, 10, 1, 5), Moved.AFTER_COUNT, -1, 0),
    ],
)
def test_a_find_is_read_by_when_the_stock_moved(counted, moved, to_post, value):
    assert counted.to_post(moved) == to_post
    assert counted.value(moved) == value
    assert counted.has_moved == (counted.books.on_hand != counted.expected)


@given(*[st.integers(0, 99)] * 3)
def test_books_that_did_not_move_are_brought_to_the_find_either_way(found, on_hand, cost):
    counted = find(found, on_hand, on_hand, cost)
    assert not counted.has_moved and counted.difference == found - on_hand
    assert {counted.to_post(moved) for moved in (None, *Moved)} == {found}
