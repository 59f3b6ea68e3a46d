"""Bars of batches under way stand in the projection of bars until they may be sold, by requests."""

from datetime import timedelta

import pytest
from django.utils import timezone

from recipes.models.bench.batches import Batch
from recipes.services.cure.cure import choose_cure_date
from recipes.services.scaling.planning import expect_made
from tests.recipes.api.calls import LOAF, VERSION, Caller, fill_shelf


def in_days(days):
    return str(timezone.localdate() + timedelta(days=days))


@pytest.fixture
def owner(database):
    fill_shelf()
    owner = Caller("owner")
    owner.made("molds/", LOAF)
    owner.made("formulas/", {"code": "calm", "name": "Calm"})
    owner.made("formulas/calm/versions/", VERSION)
    return owner


def planned(owner, days):
    body = {"formula": "calm", "planned_on": in_days(days), "target": {"mold": "loaf"}}
    return f"batches/{owner.made('batches/', body)['code']}/"


def coming(owner):
    """(day, bars) of the bars that come in within a year, and the balance of its last day."""
    days = owner.get("materials/calm-bar/projection/", days=365).json()["days"]
    made = [(day["on"], day["being_made"]["amount"]) for day in days]
    return [each for each in made if each[1] != "0"], int(days[-1]["balance"]["amount"])


def test_bars_come_on_the_day_their_cure_is_over_from_the_plan_to_the_release(owner):
    here = planned(owner, 3)
    assert coming(owner) == ([(in_days(31), "8")], 8)
    owner.done(here + "reserve/")
    owner.done(here + "pour/", {"on": in_days(0), "poured": "1 kg"})
    assert coming(owner) == ([(in_days(28), "8")], 8)
    owner.done(here + "cut/", {"on": in_days(0), "bars_good": 7, "bars_rejected": 1})
    assert coming(owner) == ([(in_days(28), "7")], 7)
    assert owner.get("materials/calm-bar/stock/").json()["being_made"]["amount"] == "7"
    owner.done(here + "cure/", {"on": in_days(0), "early_reason": "a gift to the neighbors"})
    assert coming(owner) == ([], 7)


def test_what_is_overdue_comes_no_sooner_than_its_cure_from_today(owner):
    planned(owner, -20)
    assert coming(owner) == ([(in_days(28), "8")], 8)


def test_bars_that_are_called_off_blocked_or_spoiled_do_not_come(owner):
    called_off = planned(owner, 0)
    owner.done(called_off + "cancel/")
    assert coming(owner) == ([], 0)
    here = planned(owner, 0)
    owner.done(here + "reserve/")
    owner.done(here + "pour/", {"on": in_days(0), "poured": "1 kg"})
    cut = owner.done(here + "cut/", {"on": in_days(0), "bars_good": 7, "reason": "one fell"})
    lot = cut["bar_lot"]["code"]
    spoil = {"amount": "2 each", "reason": "fell down"}
    assert owner.post(f"lots/{lot}/spoil/", spoil).status_code == 200
    assert coming(owner) == ([(in_days(28), "5")], 5)
    assert owner.post(f"lots/{lot}/block/", {"reason": "smells odd"}).status_code == 200
    assert coming(owner) == ([], 0)


def test_another_cure_date_moves_the_bars(owner):
    here = planned(owner, 0)
    owner.done(here + "reserve/")
    owner.done(here + "pour/", {"on": in_days(0), "poured": "1 kg"})
    owner.done(here + "cut/", {"on": in_days(0), "bars_good": 8})
    code = here.split("/")[1]
    later = timezone.localdate() + timedelta(days=60)
    batch = Batch.objects.get(code=code)
    batch.cure_ready_on = later
    batch.save(update_fields=["cure_ready_on"])
    expect_made(batch)
    assert coming(owner) == ([(in_days(60), "8")], 8)
    choose_cure_date(code, timezone.localdate() + timedelta(days=28))
    assert coming(owner) == ([(in_days(28), "8")], 8)
