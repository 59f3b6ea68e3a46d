"""Picking lots: laws of the order of use, of choices and of all-or-nothing."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.domain.stock.lots import LotState, LotView, first_expired_first_out, is_usable
from inventory.domain.stock.picking import Choice, Shortage, pick, pick_all, pick_in_order
from inventory.errors import LotNotUsable
from studio.foundation.errors import InvalidInput

TODAY = date(2024, 5, 17)
OLIVE, COCONUT = 1, 2

days = st.integers(-60, 60).map(lambda n: TODAY + timedelta(days=n))


@st.composite
def lot_views(draw, material=None):
    on_hand = draw(st.integers(0, 1000))
    number = draw(st.integers(1, 10**6))
    return LotView(
        id=number,
        code=f"L{number}",
        material=material or draw(st.sampled_from([OLIVE, COCONUT])),
        state=draw(st.sampled_from(LotState)),
        received_on=draw(days),
        best_before=draw(st.none() | days),
        on_hand=on_hand,
        reserved=draw(st.integers(0, on_hand)),
    )


shelves = st.lists(lot_views(), max_size=15, unique_by=lambda lot: lot.id)


def olive_lot(number, **values):
    return LotView(
        **{
            "id": number,
            "code": f"L{number}",
            "material": OLIVE,
            "received_on": TODAY,
            "on_hand": 100,
            **values,
        }
    )


def usable_amount(lots, material):
    return sum(
        lot.available for lot in lots if lot.material == material and is_usable(lot, on=TODAY)
    )


@given(lots=shelves, need=st.integers(0, 3000))
def test_a_need_is_covered_exactly_or_the_shortage_is_exact(lots, need):
    result = pick(need, lots, material=OLIVE, on=TODAY)
    there = usable_amount(lots, OLIVE)
    if isinstance(result, Shortage):
        assert (result.available, result.short) == (there, need - there)
        assert result.short > 0
    else:
        assert need <= there
        assert sum(picked.amount for picked in result) == need


@given(lots=shelves, need=st.integers(0, 3000))
def test_only_usable_lots_are_picked_once_each_and_within_what_is_available(lots, need):
    result = pick(need, lots, material=OLIVE, on=TODAY)
    if isinstance(result, Shortage):
        return
    assert len({picked.lot.id for picked in result}) == len(result)
    for picked in result:
        assert picked.lot.material == OLIVE
        assert picked.lot.state is LotState.RELEASED
        assert picked.lot.best_before is None or picked.lot.best_before >= TODAY
        assert 0 < picked.amount <= picked.lot.available


@given(lots=shelves, need=st.integers(1, 3000))
def test_no_lot_is_opened_while_an_earlier_one_has_something_left(lots, need):
    result = pick(need, lots, material=OLIVE, on=TODAY)
    if isinstance(result, Shortage):
        return
    in_order = sorted(
        (lot for lot in lots if lot.material == OLIVE and is_usable(lot, on=TODAY)),
        key=first_expired_first_out,
    )
    assert [picked.lot for picked in result] == in_order[: len(result)]
    assert all(picked.amount == picked.lot.available for picked in result[:-1])


@given(lots=shelves, need=st.integers(0, 3000), seed=st.randoms())
def test_the_order_lots_are_listed_in_does_not_matter(lots, need, seed):
    shuffled = list(lots)
    seed.shuffle(shuffled)
    assert pick(need, lots, material=OLIVE, on=TODAY) == pick(
        need, shuffled, material=OLIVE, on=TODAY
    )


def test_reading_stops_once_the_need_is_covered():
    def shelf():
        yield olive_lot(1)
        yield olive_lot(2)
        raise AssertionError("read further than the need")

    picks = pick_in_order(150, shelf(), material=OLIVE, on=TODAY)
    assert [(picked.lot.id, picked.amount) for picked in picks] == [(1, 100), (2, 50)]


@settings(max_examples=60)
@given(
    lots=shelves, needs=st.dictionaries(st.sampled_from([OLIVE, COCONUT, 3]), st.integers(1, 2000))
)
def test_every_need_is_either_covered_or_named_short(lots, needs):
    plan = pick_all(needs, lots, on=TODAY)
    short = {shortage.material for shortage in plan.shortages}
    assert set(plan.picks) | short == set(needs)
    assert not set(plan.picks) & short
    assert plan.is_covered == all(
        usable_amount(lots, material) >= need for material, need in needs.items()
    )
    for shortage in plan.shortages:
        assert shortage.needed == needs[shortage.material]
        assert shortage.available == usable_amount(lots, shortage.material)


@given(
    lots=st.lists(lot_views(material=OLIVE), min_size=1, max_size=10, unique_by=lambda x: x.id),
    data=st.data(),
)
def test_chosen_lots_come_first_in_the_order_given(lots, data):
    usable = [lot for lot in lots if is_usable(lot, on=TODAY)]
    chosen = data.draw(st.permutations(usable))[:3]
    choices = [Choice(lot, data.draw(st.integers(1, lot.available))) for lot in chosen]
    least = sum(choice.amount for choice in choices)
    need = data.draw(st.integers(least, max(least, usable_amount(lots, OLIVE))))
    result = pick(need, lots, material=OLIVE, on=TODAY, chosen=choices)
    assert [picked.lot for picked in result[: len(choices)]] == chosen
    assert all(
        picked.amount >= choice.amount for picked, choice in zip(result, choices, strict=False)
    )
    assert sum(picked.amount for picked in result) == need
    assert all(picked.amount <= picked.lot.available for picked in result)


def test_order_of_use_is_best_before_then_age_then_id():
    soon, late = TODAY + timedelta(days=5), TODAY + timedelta(days=90)
    earlier = TODAY - timedelta(days=30)
    lots = [
        olive_lot(5, received_on=earlier),
        olive_lot(4, best_before=late, received_on=earlier),
        olive_lot(3, best_before=soon),
        olive_lot(2, best_before=soon, received_on=earlier),
        olive_lot(1, best_before=soon),
        olive_lot(6),
    ]
    assert [lot.id for lot in sorted(lots, key=first_expired_first_out)] == [2, 1, 3, 4, 5, 6]


def test_a_lot_is_still_good_on_its_best_before():
    last_day = olive_lot(1, best_before=TODAY)
    assert is_usable(last_day, on=TODAY)
    assert pick(1, [last_day], material=OLIVE, on=TODAY + timedelta(days=1)) == Shortage(
        material=OLIVE, needed=1, available=0
    )


def test_a_choice_without_an_amount_takes_what_the_need_asks_for():
    first, chosen = olive_lot(1), olive_lot(2, on_hand=80)
    picks = pick(100, [first, chosen], material=OLIVE, on=TODAY, chosen=[Choice(chosen)])
    assert [(picked.lot.id, picked.amount) for picked in picks] == [(2, 80), (1, 20)]


def test_the_rest_of_a_lot_chosen_in_part_may_follow_in_the_usual_order():
    only = olive_lot(1)
    (picked,) = pick(90, [only], material=OLIVE, on=TODAY, chosen=[Choice(only, 40)])
    assert picked.amount == 90


def test_everything_wrong_with_a_choice_is_told():
    good = olive_lot(1)
    wrong = [
        Choice(replace(good, id=2, material=COCONUT)),
        Choice(replace(good, id=3, state=LotState.BLOCKED)),
        Choice(replace(good, id=4, state=LotState.QUARANTINE)),
        Choice(replace(good, id=5, best_before=TODAY - timedelta(days=1))),
        Choice(replace(good, id=6), 101),
        Choice(replace(good, id=7, reserved=100)),
        Choice(replace(good, id=8), 0),
        Choice(replace(good, id=2), 5),
    ]
    with pytest.raises(LotNotUsable) as refused:
        pick(1000, [good], material=OLIVE, on=TODAY, chosen=wrong)
    assert [(fault.code, fault.field) for fault in refused.value.faults] == [
        ("lot-of-another-material", "0"),
        ("lot-blocked", "1"),
        ("lot-quarantine", "2"),
        ("lot-expired", "3"),
        ("lot-has-too-little", "4"),
        ("lot-has-too-little", "5"),
        ("amount-not-positive", "6"),
        ("lot-chosen-twice", "7"),
    ]


def test_more_chosen_than_needed_is_refused():
    lot = olive_lot(1)
    with pytest.raises(LotNotUsable) as refused:
        pick(10, [lot], material=OLIVE, on=TODAY, chosen=[Choice(lot, 11)])
    assert refused.value.faults[0].code == "more-chosen-than-needed"


def test_faults_of_all_materials_are_told_with_their_paths():
    olive = olive_lot(1, state=LotState.BLOCKED)
    with pytest.raises(LotNotUsable) as refused:
        pick_all(
            {OLIVE: 5},
            [olive],
            on=TODAY,
            chosen={OLIVE: [Choice(olive)], COCONUT: [Choice(olive_lot(2))]},
        )
    assert [(fault.code, fault.field) for fault in refused.value.faults] == [
        ("material-not-needed", "chosen.2"),
        ("lot-blocked", "chosen.1.0"),
    ]


def test_a_negative_need_is_refused():
    with pytest.raises(InvalidInput):
        pick(-1, [], material=OLIVE, on=TODAY)


def test_a_lot_that_came_in_later_is_not_picked_and_not_taken_when_chosen():
    later = olive_lot(1, received_on=TODAY + timedelta(days=1), best_before=TODAY)
    there = olive_lot(2, received_on=TODAY)
    picked = pick(1, [later, there], material=OLIVE, on=TODAY)
    assert not isinstance(picked, Shortage) and [each.lot for each in picked] == [there]
    with pytest.raises(LotNotUsable) as refused:
        pick(1, [later, there], material=OLIVE, on=TODAY, chosen=[Choice(later, 1)])
    (fault,) = refused.value.faults
    assert (fault.code, fault.details["lot"]) == ("before-receipt", later.code)
    assert is_usable(later, on=TODAY + timedelta(days=1)) is False  # it is over by then
