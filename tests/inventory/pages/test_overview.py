"""What the shelf says on Today, and its first steps."""

import re
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from inventory.models.catalog.materials import Material
from inventory.services.alerts.alerts import raise_alerts
from studio.web.pages.start import steps
from tests.inventory.making import KG, make_lot, make_material
from tests.read_pages import read
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db


@pytest.fixture
def client():
    client = Client()
    client.force_login(person("maker"))
    return client


def page(client, address="/"):
    return read(client.get(address))


def test_alerts_say_what_and_why_and_join_the_answer(client):
    make_lot(make_material("blue-clay", reorder_point=2 * KG), KG)
    raise_alerts(now=timezone.now() - timedelta(days=3))
    today = page(client)
    assert "Blue clay" in today and "3 days" in today
    assert re.search(r"\d alerts? to look after\.", today)


def test_nobody_has_looked_yet_is_no_all_clear(client):
    assert "Nobody has looked yet" in page(client)
    raise_alerts(now=timezone.now())
    assert "Nothing is low, late or about to expire." in page(client)


def test_queries_of_today_stay_the_same(client, django_assert_max_num_queries):
    for number in range(30):
        make_lot(make_material(f"clay-{number}", reorder_point=2 * KG), KG)
    raise_alerts(now=timezone.now())
    with django_assert_max_num_queries(16):
        assert re.search(r"[36]\d alerts", page(client))


def test_materials_of_the_list_are_added_once(client):
    assert "Coconut oil" in page(client, "/start/materials/")
    assert "Tick at least one" in read(client.post("/start/materials/"))
    answer = client.post("/start/materials/", {"chosen": ["coconut-oil", "olive-oil"]})
    assert answer["Location"] == "/start/"
    coconut = Material.objects.get(code="coconut-oil")
    assert coconut.sv_mg_koh_g and coconut.fatty_acids.exists() and "CXS 210" in coconut.note
    client.post("/start/materials/", {"chosen": ["coconut-oil", "palm-oil"]})
    assert Material.objects.count() == 3
    assert client.post("/start/materials/", {"chosen": ["lead"]}).status_code == 422


def test_the_next_step_follows_what_is_there(client):
    assert [shown.step.name for shown in steps() if shown.next] == ["materials"]
    make_material("blue-clay")
    names = [(shown.step.name, shown.done, shown.next) for shown in steps()]
    assert ("materials", True, False) in names and ("mold", False, True) in names
    assert "next" in page(client, "/start/")


def test_viewers_add_nothing():
    client = Client()
    client.force_login(person("viewer"))
    assert client.post("/start/materials/", {"chosen": ["coconut-oil"]}).status_code == 403
