"""Which lots will not be used up in time: laws that hold for any shelf."""

from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.alerts.causes import DatedLot, ExpectedUse, left_at_best_before

ON = date(2026, 3, 2)
DAYS = st.integers(-5, 60).map(lambda days: ON + timedelta(days=days))


@st.composite
def lots(draw):
    found = []
    for number in range(draw(st.integers(0, 6))):
        on_hand = draw(st.integers(1, 1_000))
        found.append(
            DatedLot(
                code=f"L-{number}",
                on_hand=on_hand,
                reserved=draw(st.integers(0, on_hand)),
                best_before=draw(DAYS),
            )
        )
    return found


USES = st.builds(
    ExpectedUse,
    required=st.lists(st.tuples(DAYS, st.integers(1, 800)), max_size=5),
    used=st.integers(0, 2_000),
    used_days=st.integers(1, 120),
)


def lot(on_hand, days, *, code="L-1", reserved=0):
    return DatedLot(
        code=code, on_hand=on_hand, reserved=reserved, best_before=ON + timedelta(days=days)
    )


@given(lots(), USES)
def test_what_is_used_and_left_is_what_is_there(shelf, use):
    for found in left_at_best_before(shelf, use, on=ON):
        assert found.left > 0 and found.used >= found.lot.reserved
        assert found.used + found.left == found.lot.on_hand


@given(lots(), USES)
def test_what_all_lots_give_by_a_day_is_expected_by_then_or_reserved(shelf, use):
    left = {found.lot.code: found.left for found in left_at_best_before(shelf, use, on=ON)}
    for day in {each.best_before for each in shelf}:
        early = [each for each in shelf if each.best_before <= day]
        given_out = sum(each.on_hand - left.get(each.code, 0) for each in early)
        assert given_out <= use.until(day, on=ON) + sum(each.reserved for each in early)


@given(lots(), USES, st.integers(1, 500))
def test_more_use_never_leaves_more(shelf, use, more):
    busier = ExpectedUse(
        required=[*use.required, (ON, more)], used=use.used, used_days=use.used_days
    )

    def total(expected):
        return sum(found.left for found in left_at_best_before(shelf, expected, on=ON))

    assert total(busier) <= total(use)


def test_by_hand():
    # 10 a day go on: 100 by day 10, 200 by day 20. The first lot gives 100 of its 150, the second
    # what is left of the 200: 100 of its 120.
    use = ExpectedUse(used=900, used_days=90)
    found = left_at_best_before([lot(120, 20, code="b"), lot(150, 10, code="a")], use, on=ON)
    assert [(each.lot.code, each.used, each.left) for each in found] == [
        ("a", 100, 50),
        ("b", 100, 20),
    ]


def test_what_is_planned_beyond_the_past_rate_counts_on_its_day():
    use = ExpectedUse(required=[(ON + timedelta(days=5), 80)], used=90, used_days=90)
    assert not left_at_best_before([lot(80, 5)], use, on=ON)
    (found,) = left_at_best_before([lot(80, 4)], use, on=ON)
    assert found.left == 76


def test_a_lot_past_its_best_before_is_used_no_more():
    (found,) = left_at_best_before([lot(50, -1)], ExpectedUse(used=900, used_days=90), on=ON)
    assert (found.used, found.left) == (0, 50)


def test_what_is_promised_from_a_lot_is_not_left():
    assert not left_at_best_before([lot(50, 3, reserved=50)], ExpectedUse(), on=ON)
