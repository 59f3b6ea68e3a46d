"""The scale page: weights of a recipe at a mold or a size, and one button to plan and reserve."""

import re
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.models.stock.reservations import Reservation
from recipes.domain.formulas.formula import Basis
from recipes.models.bench.batches import Batch
from recipes.models.formulas.formulas import FormulaKind
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import Wish, make_plan
from recipes.services.formulas.formulas import LineSpec, VersionSpec, add_formula
from studio.foundation.units.writing import format_amount
from tests.inventory.making import KG
from tests.read_pages import read
from tests.recipes.making import make_bench, next_version, stock
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db
SCALE = "/recipes/plain/scale/"
PLAN = "/recipes/plain/plan/"


def signed_in(role="owner", **values):
    client = Client()
    client.force_login(person(role, **values))
    return client


def scaled(**query):
    response = signed_in().get(SCALE, query)
    assert response.status_code == 200
    return read(response)


def test_the_weights_are_those_of_the_plan():
    bench = make_bench()
    stock(bench)
    page = scaled(size="mold", mold="loaf")
    plan = make_plan(load_formula(code="plain"), Wish(mold=bench.mold))
    assert "<strong>8 bars</strong>" in page
    for line in plan.lines:
        written = "8 pieces" if line.material.counted else f"{format_amount(line.amount, 'g')} g"
        assert re.search(rf"{line.material.name}.*?{written}", page, re.DOTALL), line
    assert "The shelf has all of it." in page and "Lye burns." in page
    assert "<svg" in page, "the mold is drawn"


@pytest.mark.parametrize("units", ["3 lb 4 oz", "1474.2 g", "1.4742 kg"])
def test_any_unit_says_the_same(units):
    make_bench()
    assert "1.474 kg" in scaled(size="fats", amount=units)


def test_a_short_shelf_names_what_is_missing():
    stock(make_bench(), amount=KG // 10)
    page = scaled(size="mold", mold="loaf")
    assert "The shelf is short of it." in page
    assert re.search(r"Missing:.*Olive", page, re.DOTALL)


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"size": "volume", "amount": "3 lb"}, "A volume is needed here"),
        ({"size": "fats", "amount": "a lot"}, "How much:"),
        ({"size": "bars", "bars": "12"}, "how much is poured for each"),
        ({"size": "mold", "mold": "loaf", "fill_height": "2 m"}, "Fill height"),
        ({"size": "fats", "amount": "1 g"}, "wrong"),
        ({"size": "elsewhere", "amount": "1 kg"}, "wrong"),
    ],
)
def test_what_cannot_be_is_told_and_kept(asked, words):
    make_bench()
    page = scaled(**asked)
    assert words in page
    assert "Plan and reserve" not in page
    for value in asked.values():
        assert value in page, "what was typed is lost"


def test_without_a_size_it_says_what_to_do():
    make_bench()
    assert "as soon as a mold is chosen" in scaled()


def test_an_unknown_recipe_is_not_there():
    assert signed_in().get("/recipes/nothing/scale/").status_code == 404


def test_planning_reserves_all_of_it_once():
    stock(make_bench())
    client = signed_in("maker")
    asked = {"size": "mold", "mold": "loaf", "then": "reserve", "once": "one-key"}
    first = client.post(PLAN, asked)
    again = client.post(PLAN, asked)
    batch = Batch.objects.get()
    assert batch.state == "reserved" and Reservation.objects.get().state == "open"
    assert first.status_code == again.status_code == 303
    assert first["Location"] == again["Location"]
    assert batch.code in first["Location"]


def test_what_is_short_is_not_planned_unless_asked():
    stock(make_bench(), amount=KG // 10)
    client = signed_in("maker")
    refused = client.post(PLAN, {"size": "mold", "mold": "loaf", "once": "k-1"})
    assert refused.status_code == 422 and not Batch.objects.exists()
    assert "short" in read(refused)
    planned = client.post(PLAN, {"size": "mold", "mold": "loaf", "then": "plan", "once": "k-2"})
    assert planned.status_code == 303
    assert Batch.objects.get().state == "planned" and not Reservation.objects.exists()


def test_a_viewer_looks_and_does_not_plan():
    stock(make_bench())
    client = signed_in("viewer")
    assert "Plan and reserve" not in read(client.get(SCALE, {"mold": "loaf"}))
    assert client.post(PLAN, {"mold": "loaf", "once": "k"}).status_code == 403


def test_the_list_leads_there(django_assert_max_num_queries):
    bench = make_bench()
    client = signed_in()
    with django_assert_max_num_queries(5):
        page = read(client.get("/recipes/"))
    assert bench.formula.name in page
    assert f'href="{reverse("scale-page", args=["plain"])}"' in page
    assert "No recipe has that name" in read(client.get("/recipes/", {"q": "zzz"}))


def test_queries_do_not_grow_with_the_shelf():
    bench = make_bench()
    stock(bench)
    client = signed_in()
    counted = []
    for _ in range(2):
        with CaptureQueriesContext(connection) as seen:
            client.get(SCALE, {"size": "mold", "mold": "loaf"})
        counted.append(len(seen))
        for _ in range(5):
            stock(bench)
    assert counted[0] == counted[1] <= 18


def test_what_is_made_here_leads_to_its_own_recipe():
    bench = make_bench()
    oil = add_formula(code="infused", name="Infused oil", kind=FormulaKind.BLEND)
    olive = LineSpec(material=bench.materials["olive"], basis=Basis.OF_BATTER, amount=Decimal(1))
    next_version(oil, VersionSpec(lines=[olive]))
    product = oil.product
    product.sv_mg_koh_g = Decimal(190)
    product.density_g_ml = Decimal("0.915")
    product.density_temperature_c = Decimal(20)
    product.save()
    stock(bench)
    line = LineSpec(material=product, basis=Basis.SHARE_OF_FATS, amount=Decimal(1))
    spec = {"naoh": bench.materials["naoh"], "water": bench.materials["water"]}
    shares = {"superfat": Decimal("0.05"), "lye_concentration": Decimal("0.33")}
    next_version(bench.formula, VersionSpec(lines=[line], **spec, **shares))
    page = scaled(size="mold", mold="loaf")
    assert '<a href="/recipes/infused/scale/">plan its batch first</a>' in page
    assert "nobody offers it" not in page
