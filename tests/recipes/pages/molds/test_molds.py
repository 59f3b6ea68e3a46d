"""Molds on pages: measured in any unit, drawn, changed, and never with what cannot be."""

import pytest
from django.test import Client

from recipes.models.molds.molds import Mold
from tests.read_pages import read
from tests.recipes.making import make_bench
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db
NEW = "/recipes/molds/new/"
LOAF = {
    "name": "Long loaf",
    "shape": "rectangular",
    "length": "10 in",
    "width": "70 mm",
    "depth": "6 cm",
    "cavities": "1",
    "rows": "10",
    "columns": "1",
    "layers": "1",
    "active": "on",
}


def signed_in(role="owner"):
    client = Client()
    client.force_login(person(role))
    return client


def test_a_mold_is_added_in_any_unit_and_drawn():
    response = signed_in("maker").post(NEW, LOAF | {"fill_height": "5 cm"})
    assert response.status_code == 303 and response["Location"] == "/recipes/molds/long-loaf/"
    mold = Mold.objects.get(code="long-loaf")
    assert (mold.length, mold.width, mold.fill_height) == (254_000_000, 70_000_000, 50_000_000)
    page = read(signed_in("viewer").get("/recipes/molds/long-loaf/"))
    # 254 x 70 x 50 mm
    assert "889 mL" in page and "10 bars" in page and "<svg" in page
    assert "Change this mold" not in page


def test_a_code_made_from_a_name_is_no_word_of_an_address():
    response = signed_in("maker").post(NEW, LOAF | {"name": "New"})
    assert response["Location"] == "/recipes/molds/new-1/"
    assert signed_in("viewer").get("/recipes/molds/new-1/").status_code == 200


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"width": ""}, "needs this"),
        ({"width": "7 kg"}, "length"),
        ({"fill_height": "9 in"}, "Filled to"),
        ({"rows": "0"}, "greater than or equal to 1"),
        ({"shape": "measured"}, "needs this"),
        ({"code": "new"}, "choose another code"),
    ],
)
def test_what_cannot_be_is_told_and_kept(given, words):
    sent = LOAF | given
    response = signed_in().post(NEW, sent)
    page = read(response)
    assert response.status_code == 422 and words in page
    assert not Mold.objects.exists() and 'value="10 in"' in page


def test_measures_of_another_shape_are_left_out():
    sent = LOAF | {"shape": "cylinder", "diameter": "3 in", "width": "rubbish"}
    assert signed_in().post(NEW, sent).status_code == 303
    mold = Mold.objects.get()
    assert (mold.diameter, mold.width, mold.length) == (76_200_000, None, None)


def test_what_it_holds_while_typing():
    client = signed_in()
    page = read(client.post("/recipes/molds/new/holds/", LOAF))
    assert "1.067 L" in page or "1066.8 mL" in page
    assert "Width inside" in read(client.post("/recipes/molds/new/holds/", LOAF | {"width": "x"}))
    assert not Mold.objects.exists()


def test_a_change_that_somebody_else_made_first_is_not_lost():
    make_bench()
    client = signed_in()
    edit = "/recipes/molds/loaf/edit/"
    assert 'value="240 mm"' in read(client.get(edit))
    revision = Mold.objects.get().revision
    sent = LOAF | {"name": "Renamed", "revision": str(revision)}
    assert client.post(edit, sent).status_code == 303
    mold = Mold.objects.get()
    assert (mold.name, mold.code, mold.length) == ("Renamed", "loaf", 254_000_000)
    late = client.post(edit, sent | {"name": "Late"})
    assert late.status_code == 422 and "Somebody else" in read(late)
    assert Mold.objects.get().name == "Renamed"


def test_the_list_is_flat_and_search_finds(django_assert_max_num_queries):
    client = signed_in()
    assert "Add the first one" in read(client.get("/recipes/molds/"))
    sizes = {"shape": "rectangular", "length": 10**8, "width": 10**8, "depth": 10**8}
    Mold.objects.bulk_create(Mold(code=f"m-{n}", name=f"Mold {n:04}", **sizes) for n in range(2000))
    with django_assert_max_num_queries(5):
        page = read(client.get("/recipes/molds/"))
    assert "1 L" in page
    assert "No mold has that name" in read(client.get("/recipes/molds/", {"q": "zzz"}))
    assert "/recipes/molds/m-1999/" in read(client.get("/search/", {"q": "Mold 1999"}))
    with django_assert_max_num_queries(6):
        client.get("/recipes/molds/m-7/")


def test_a_viewer_does_not_change():
    make_bench()
    assert signed_in("viewer").get("/recipes/molds/loaf/edit/").status_code == 403
    assert signed_in("viewer").get(NEW).status_code == 403
