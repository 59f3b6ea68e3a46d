"""Prices of larger purchases: the lowest that the number of packs reaches, for all of them."""

from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.catalog.packs import MOST_BREAKS, PriceBreak, check_breaks, pack_price
from studio.foundation.errors import Faults


@st.composite
def tables(draw):
    starts = sorted(draw(st.sets(st.integers(2, 500), max_size=MOST_BREAKS)))
    prices = sorted(
        draw(
            st.lists(
                st.integers(0, 10**6),
                min_size=len(starts) + 1,
                max_size=len(starts) + 1,
                unique=True,
            )
        ),
        reverse=True,
    )
    return prices[0], [PriceBreak(s, p) for s, p in zip(starts, prices[1:], strict=True)]


@given(tables(), st.integers(1, 600))
def test_the_price_is_the_lowest_that_is_reached(table, packs):
    price, breaks = table
    faults = Faults()
    check_breaks(faults, breaks, price=price)
    assert not faults
    reached = [price, *(each.price for each in breaks if each.from_packs <= packs)]
    assert pack_price(packs, price=price, breaks=breaks) == min(reached)


@given(tables().filter(lambda table: len(table[1]) > 1), st.data())
def test_breaks_out_of_order_or_not_cheaper_are_named(table, data):
    price, breaks = table
    place = data.draw(st.integers(1, len(breaks) - 1))
    same_start = [*breaks]
    same_start[place] = PriceBreak(breaks[place - 1].from_packs, breaks[place].price)
    same_price = [*breaks]
    same_price[place] = PriceBreak(breaks[place].from_packs, breaks[place - 1].price)
    for wrong, field in ((same_start, "from_packs"), (same_price, "price")):
        faults = Faults()
        check_breaks(faults, wrong, price=price)
        assert f"price_breaks.{place}.{field}" in {fault.field for fault in faults.found}


def test_there_are_not_too_many_breaks():
    breaks = [PriceBreak(n + 2, 1_000 - n) for n in range(MOST_BREAKS + 1)]
    faults = Faults()
    check_breaks(faults, breaks, price=2_000)
    assert [fault.code for fault in faults.found] == ["too-many"]
