"""The rule of days, entry by entry."""

from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.stock.days import (
    DayRule,
    LotDays,
    broken_day_rule,
    comes_later,
    first_day,
    is_to_come,
    least_since,
)
from inventory.domain.stock.freshness import best_before, moved_best_before
from inventory.domain.stock.ledger import Verb

CAME = date(2026, 3, 2)
days = st.integers(-400, 400).map(lambda count: CAME + timedelta(days=count))
verbs = st.sampled_from(Verb)


@given(verbs, days, st.none() | days)
def test_an_entry_is_on_the_day_a_lot_came_in_or_later_and_ships_once_it_is_free(verb, on, free):
    broken = broken_day_rule(verb, LotDays(received_on=CAME, free_since=free), on=on)
    if on < CAME:
        assert broken is DayRule.BEFORE_RECEIPT
    elif verb is Verb.SHIP and free is not None and on < free:
        assert broken is DayRule.BEFORE_FREE
    else:
        assert broken is None


@given(st.dictionaries(days, st.integers(-9, 9)), st.integers(0, 50), days)
def test_what_may_leave_on_a_day_stood_there_then_and_on_each_day_since(changes, first, on):
    def stood(day):
        return first + sum(amount for other, amount in changes.items() if other <= day)

    later = {day: amount for day, amount in changes.items() if day > on}
    least, day = least_since(first + sum(changes.values()), later, on=on)
    assert least == min(stood(each) for each in (on, *later))
    assert stood(day) == least and day >= on


@given(verbs, st.integers(-9, 9))
def test_what_came_in_or_was_found_was_there_from_the_first_day(verb, amount):
    first = verb in (Verb.RECEIVE, Verb.PRODUCE) or (verb is Verb.COUNT and amount > 0)
    assert comes_later(verb, amount) is not first


@given(days, days)
def test_only_a_day_after_today_is_to_come(day, today):
    assert is_to_come(day, today=today) == ((day - today).days > 0)


@given(days, days, st.none() | st.integers(1, 2000), st.none() | days)
def test_a_best_before_moves_with_the_day_of_receipt_unless_it_was_stated(was, now, life, stated):
    kept = best_before(received_on=was, shelf_life_days=life, stated=stated)
    moved = moved_best_before(kept, was=was, received_on=now, shelf_life_days=life)
    follows = best_before(received_on=was, shelf_life_days=life)
    if kept is None or kept != follows:
        assert moved == kept
    else:
        assert moved is not None and moved - kept == now - was


@given(st.dates(), days)
def test_what_happened_is_of_the_last_fifty_years(day, today):
    first = first_day(today=today)
    assert (first.month, first.day) == (1, 1)
    assert (day >= first) is (today.year - day.year <= 50)


def test_a_calendar_has_a_first_year():
    assert first_day(today=date(40, 5, 6)) == date.min
