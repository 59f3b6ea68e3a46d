"""Best before and whether it has passed."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.stock.freshness import best_before, is_expired
from studio.foundation.errors import InvalidInput

days = st.dates(date(2000, 1, 1), date(2100, 1, 1))


@given(received=days, life=st.integers(1, 3000), after=st.integers(-50, 50))
def test_a_lot_is_good_up_to_its_last_day_and_not_after(received, life, after):
    last = best_before(received_on=received, shelf_life_days=life)
    day = last + timedelta(days=after)
    assert (last - received).days == life
    assert is_expired(last, on=day) == (after > 0)


@given(received=days, life=st.none() | st.integers(1, 3000), stated=days)
def test_the_date_the_supplier_states_goes_before_the_shelf_life(received, life, stated):
    assert best_before(received_on=received, shelf_life_days=life, stated=stated) == stated


@given(day=days)
def test_what_has_no_shelf_life_never_expires(day):
    assert best_before(received_on=day, shelf_life_days=None) is None
    assert not is_expired(None, on=day)


@pytest.mark.parametrize("life", [0, -1, 36_501])
def test_an_impossible_shelf_life_is_refused(life):
    with pytest.raises(InvalidInput):
        best_before(received_on=date(2024, 1, 1), shelf_life_days=life)


def test_a_best_before_beyond_the_calendar_is_refused():
    with pytest.raises(InvalidInput):
        best_before(received_on=date(9999, 12, 1), shelf_life_days=365)
