"""What is free on a day, beside walking through every day."""

from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.stock.promises import Supply

START = date(2026, 3, 2)
DAYS = [START + timedelta(days) for days in range(12)]
dated = st.lists(st.tuples(st.sampled_from(DAYS), st.integers(1, 50)), max_size=5).map(tuple)
supplies = st.builds(Supply, available=st.integers(0, 100), coming=dated, promised=dated)


def left_on(supply, day):
    return (
        supply.available
        + sum(amount for on, amount in supply.coming if on <= day)
        - sum(amount for on, amount in supply.promised if on <= day)
    )


@given(supplies, st.integers(-1, 12))
def test_only_what_leaves_no_later_day_short_is_free(supply, offset):
    day = START + timedelta(offset)
    later = [left_on(supply, on) for on in [day, *DAYS] if on >= day]
    assert supply.free_by(day) == max(0, min(later))


@given(supplies, st.integers(0, 150))
def test_the_first_day_is_the_first(supply, amount):
    found = supply.first_day(amount, since=START)
    enough = [day for day in [*DAYS, DAYS[-1] + timedelta(1)] if supply.free_by(day) >= amount]
    assert found == (enough[0] if enough else None)


def test_a_plan_takes_nothing_from_what_another_was_promised():
    # 500 are on the shelf and promised; 600 come two days before they are.
    supply = Supply(
        available=500,
        coming=((DAYS[6], 600),),
        promised=((DAYS[8], 1000),),
    )
    assert supply.free_by(DAYS[0]) == supply.free_by(DAYS[9]) == 100
