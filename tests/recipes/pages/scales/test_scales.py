"""Scales on pages: added, changed, told beside the weights."""

import pytest
from django.test import Client

from recipes.models.scales.scales import Scale
from tests.read_pages import read
from tests.recipes.making import make_bench, planned, stock
from tests.recipes.scales import MG, G, make_scales
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db
NEW = "/recipes/scales/new/"
BENCH = {"name": "Bench scale", "step": "0.1 g", "capacity": "3 kg", "active": "on"}


def signed_in(role="owner"):
    client = Client()
    client.force_login(person(role))
    return client


def test_a_scale_is_added_and_changed():
    client = signed_in("maker")
    assert "Until there is one" in read(client.get("/recipes/scales/"))
    response = client.post(NEW, BENCH)
    assert response.status_code == 303 and response["Location"] == "/recipes/scales/"
    scale = Scale.objects.get(code="bench-scale")
    assert (scale.step, scale.capacity) == (100 * MG, 3_000_000 * MG)
    edit = "/recipes/scales/bench-scale/edit/"
    assert client.post(edit, {**BENCH, "step": "1 g", "revision": "1"}).status_code == 303
    assert Scale.objects.get().step == 1000 * MG
    stale = client.post(edit, {**BENCH, "revision": "1"})
    assert stale.status_code in (409, 422) and Scale.objects.get().step == 1000 * MG
    page = read(signed_in("viewer").get("/recipes/scales/"))
    assert "Bench scale" in page and "1 g" in page and "Edit" not in page
    assert signed_in("viewer").get(NEW).status_code == 403


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"step": ""}, "required"),
        ({"step": "3 cm"}, "mass"),
        ({"capacity": "0.05 g"}, "at least one step"),
        ({"name": "New", "code": "new"}, "choose another code"),
    ],
)
def test_what_cannot_be_is_told_and_kept(given, words):
    response = signed_in().post(NEW, BENCH | given)
    assert response.status_code == 422 and words in read(response)
    assert not Scale.objects.exists()


def test_the_scale_stands_beside_the_weights_of_plan_bench_and_sheet():
    bench = make_bench()
    stock(bench)
    client = signed_in()
    without = "No scale is kept, so this is rounded to the recipe's step of 1 g"
    assert without in read(client.get("/recipes/plain/scale/?mold=loaf"))
    make_scales(holds=300 * G)
    batch = planned(bench)
    assert without not in read(client.get("/recipes/plain/scale/?mold=loaf"))
    assert "on Floor scale, 5 g" in read(client.get("/recipes/plain/scale/?mold=loaf"))
    assert "on Bench scale, 0.1 g" in read(client.get(f"/batches/{batch.code}/sheet/"))
    assert client.post(f"/batches/{batch.code}/reserve/", {"once": "k-1"}).status_code == 303
    for view in ("", "?view=list"):
        page = read(client.get(f"/batches/{batch.code}/bench/{view}"))
        assert "on Floor scale, 5 g" in page or "on Bench scale, 0.1 g" in page
