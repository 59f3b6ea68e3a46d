"""Rates that came late by hand: told on the page of rates, looked at, and entered."""

from uuid import uuid4

import pytest
from django.test import Client

from costing.models.bar_cost.conversion import LateConversion
from inventory.domain.stock.ledger import Verb
from inventory.models.stock.lots import Lot
from inventory.services.stock.consumption import draw
from inventory.services.stock.ledger import Origin
from tests.costing.making import cured, make_rates
from tests.inventory.making import TODAY
from tests.read_pages import read
from tests.recipes.making import make_bench, stock
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db
ADDRESS = "/prices/setup/rates/late/"


@pytest.fixture
def code():
    bench = make_bench()
    stock(bench)
    return cured(bench)


def signed_in(role="owner"):
    client = Client()
    client.force_login(person(role))
    return client


def test_it_is_told_looked_at_and_entered(code):
    client = signed_in()
    rates = read(client.get("/prices/setup/rates/"))
    assert "Not known until it is set" in rates and "1 batch was costed before" in rates
    waits = read(client.get(ADDRESS))
    assert "1 batch waits for a rate" in waits and "an hour of labor" in waits
    assert "Enter it" not in waits
    assert "at least" in read(client.get(f"/batches/{code}/cost/"))
    make_rates()
    before = Lot.objects.get(code=code).cost
    assert "can take labor and overhead that were not known" in read(client.get(ADDRESS))
    refused = client.post(ADDRESS, {"since": "soon", "once": str(uuid4())})
    assert refused.status_code == 422
    sent = client.post(ADDRESS, {"since": TODAY.isoformat(), "once": str(uuid4())})
    assert sent.status_code == 303
    late = LateConversion.objects.get()
    assert Lot.objects.get(code=code).cost == before + late.on_lot
    told = read(client.get(ADDRESS))
    assert "1 batch made." in told and "are known" in told
    assert "at least" not in read(client.get(f"/batches/{code}/cost/"))
    assert "was costed before" not in read(client.get("/prices/setup/rates/"))


def test_what_is_an_expense_is_told_beside_what_is_on_the_lot(code):
    lot = Lot.objects.get(code=code)
    draw(lot.pk, 6, verb=Verb.SHIP, origin=Origin(reference="shipment:test"))
    make_rates()
    client = signed_in()
    client.post(ADDRESS, {"since": TODAY.isoformat(), "once": str(uuid4())})
    late = LateConversion.objects.get()
    on_lot, expense = (f"${each / 10_000:.2f}" for each in (late.on_lot, late.variance))
    told = read(client.get(ADDRESS))
    assert f"{on_lot} is on what 1 batch made, and {expense} is an expense of today." in told


def test_who_may_not_see_costs_does_not_get_there(code):
    assert signed_in("maker").get(ADDRESS).status_code == 403
