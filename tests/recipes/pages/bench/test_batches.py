"""Batches by hand: the list, the page of one, reserving, giving back, calling off."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory.models.stock.reservations import Reservation
from recipes.models.bench.batches import Batch
from tests.inventory.making import KG
from tests.read_pages import read
from tests.recipes.making import make_bench, planned, stock
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db


def signed_in(role="owner"):
    client = Client()
    client.force_login(person(role))
    return client


def address(name, batch):
    return reverse(name, args=[batch.code])


def test_a_planned_batch_is_reserved_given_back_and_called_off():
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    client = signed_in("maker")
    page = read(client.get(address("batch-page", batch)))
    assert "Reserve for this batch" in page and "Lye burns" in page
    for name, state in (("batch-reserve-page", "reserved"), ("batch-give-back-page", "planned")):
        done = client.post(address(name, batch), {"once": name})
        assert done.status_code == 303
        batch.refresh_from_db()
        assert batch.state == state
    asked = read(client.get(address("batch-cancel-page", batch)))
    assert batch.code in asked
    client.post(address("batch-cancel-page", batch), {"reason": "no time", "once": "off"})
    batch.refresh_from_db()
    assert batch.state == "cancelled" and "no time" in batch.note


def test_nothing_is_held_until_a_day_that_is_over():
    bench = make_bench()
    stock(bench)
    batch, client = planned(bench), signed_in("maker")
    today = timezone.localdate()
    given = {"expires_on": (today - timedelta(days=1)).isoformat()}
    refused = client.post(address("batch-reserve-page", batch), {**given, "once": "k"})
    assert refused.status_code == 422 and "That day is over" in read(refused)
    assert not Reservation.objects.exists()
    given = {"expires_on": today.isoformat()}
    done = client.post(address("batch-reserve-page", batch), {**given, "once": "k2"})
    assert done.status_code == 303 and Reservation.objects.get().expires_on == today


def test_what_is_short_is_named_and_nothing_is_held():
    bench = make_bench()
    stock(bench, amount=KG // 10)
    batch = planned(bench)
    client = signed_in("maker")
    assert "The shelf is short of it." in read(client.get(address("batch-page", batch)))
    refused = client.post(address("batch-reserve-page", batch), {"once": "k"})
    assert refused.status_code == 422 and "Olive" in read(refused)
    assert not Reservation.objects.exists()


def test_a_viewer_looks_and_changes_nothing():
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    client = signed_in("viewer")
    assert "Reserve for this batch" not in read(client.get(address("batch-page", batch)))
    assert client.post(address("batch-reserve-page", batch), {"once": "k"}).status_code == 403
    assert client.get("/batches/B-77777/").status_code == 404


def test_the_list_finds_and_says_when_there_is_nothing():
    client = signed_in()
    assert "Batches stand here" in read(client.get("/batches/"))
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    assert batch.code in read(client.get("/batches/"))
    assert batch.code not in read(client.get("/batches/", {"state": "cured"}))
    assert "No batch is like that" in read(client.get("/batches/", {"q": "zzz"}))


def counted(client, place):
    with CaptureQueriesContext(connection) as seen:
        assert client.get(place).status_code == 200
    return len(seen)


def test_the_list_asks_as_much_however_long_it_is():
    bench = make_bench()
    stock(bench)
    client = signed_in()
    planned(bench)
    few = counted(client, "/batches/")
    for _ in range(20):
        planned(bench)
    assert counted(client, "/batches/") == few <= 8
    assert Batch.objects.count() == 21
