"""Rates that came late over the API: looked at, entered once for a key, and by whom."""

from uuid import uuid4

import pytest
from django.utils import timezone

from costing.models.bar_cost.conversion import LateConversion
from inventory.models.stock.lots import Lot
from tests.costing.making import cured, make_rates
from tests.inventory.making import TODAY
from tests.recipes.making import make_bench, stock
from tests.studio.web.api.people import client_as
from tests.studio.web.api.test_problems import fields_of, problem_in

pytestmark = pytest.mark.django_db
ADDRESS = "/api/v1/late-rates/"
SINCE = {"since": TODAY.isoformat()}


@pytest.fixture
def code():
    bench = make_bench()
    stock(bench)
    return cured(bench)


@pytest.fixture
def owner():
    return client_as("owner")


def enter(client, body, key=""):
    return client.post(ADDRESS, body, headers={"Idempotency-Key": key or str(uuid4())})


def test_what_waits_is_shown_then_entered_once(owner, code):
    [waiting] = owner.get(ADDRESS).json()["batches"]
    assert waiting["batch"] == code and not waiting["can_be_entered"]
    assert waiting["missing"] == ["labor_hour", "overhead_batch", "overhead_labor_hour"]
    assert enter(owner, SINCE).json() == {"entered": []}
    make_rates()
    [ready] = owner.get(ADDRESS, SINCE).json()["batches"]
    assert (ready["can_be_entered"], ready["missing"]) == (True, [])
    assert owner.get(ADDRESS, {"since": "2099-01-01"}).json()["batches"] == []
    answer = enter(owner, SINCE, "one")
    assert answer.status_code == 200, answer.content
    [entered] = answer.json()["entered"]
    parts = ("batch", "poured_on", "cost", "on_lot", "expensed", "variance")
    assert [entered[name] for name in parts] == [ready[name] for name in parts]
    assert entered["on"] == timezone.localdate().isoformat()
    assert entered["by"] == LateConversion.objects.get().by.get_username()
    cost = Lot.objects.get(code=code).cost
    assert enter(owner, SINCE, "one").content == answer.content
    assert enter(owner, SINCE).json() == {"entered": []}
    assert Lot.objects.get(code=code).cost == cost
    assert owner.get(ADDRESS).json() == {"batches": []}


def test_what_cannot_be_read_is_refused(owner, code):
    for body, fault in (({}, "required"), ({"since": "soon"}, "invalid")):
        told = problem_in(enter(owner, body), 400, "invalid-fields")
        assert fields_of(told) == {("since", fault)}
    assert owner.get(ADDRESS, {"since": "soon"}).status_code == 400
    assert owner.get(ADDRESS, {"until": "2026-01-01"}).status_code == 400
    assert owner.post(ADDRESS, SINCE).status_code == 400  # without a key


def test_it_is_for_those_who_see_costs_and_set_prices(code):
    make_rates()
    for client in (client_as("maker"), client_as("viewer")):
        assert client.get(ADDRESS).status_code == 403
        assert enter(client, SINCE).status_code == 403
    assert not LateConversion.objects.exists()
