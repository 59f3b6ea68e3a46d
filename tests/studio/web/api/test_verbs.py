"""A verb brings its rule, its body, its answer and its address."""

import pytest
from drf_spectacular.generators import SchemaGenerator

from inventory.models.catalog.suppliers import Supplier
from tests.studio.web.api import sample_urls
from tests.studio.web.api.people import client_as
from tests.studio.web.api.test_problems import problem_in

pytestmark = pytest.mark.django_db
ONE = "/api/sample/suppliers/a/"


@pytest.fixture(autouse=True)
def _supplier():
    Supplier.objects.create(code="a", name="A")


def test_it_is_done_once_for_its_key_and_answers_what_it_returns_with_its_status():
    client = client_as()
    problem_in(client.post(ONE + "close-now/", {}), 400, "idempotency-key-missing")
    first = client.post(ONE + "close-now/", {}, headers={"Idempotency-Key": "k"})
    again = client.post(ONE + "close-now/", {}, headers={"Idempotency-Key": "k"})
    assert (first.status_code, first.json()["code"]) == (202, "a")
    assert again.content == first.content and again.headers["Idempotent-Replayed"] == "true"


def test_one_that_asks_for_nothing_refuses_a_body():
    response = client_as().post(ONE + "close-now/", {"x": 1}, headers={"Idempotency-Key": "k"})
    assert response.status_code == 400 and response.json()["errors"][0]["field"] == "x"


def test_the_body_is_read_by_what_it_is_given():
    client = client_as()
    assert client.post(ONE + "echo/", {"code": "b"}).json() == {"code": "b"}
    assert client.post(ONE + "echo/", {}).json()["errors"][0]["field"] == "code"


def test_a_look_is_a_get_with_an_answer_of_its_own():
    assert client_as().get(ONE + "first-look/").json() == {"code": "a", "then": "looked"}


def test_the_rule_is_that_of_the_verb():
    client = client_as("maker")
    problem_in(client.post(ONE + "echo/", {"code": "b"}), 403, "not-allowed")
    problem_in(client.get(ONE + "first-look/"), 403, "not-allowed")


def test_the_description_says_the_same():
    found = SchemaGenerator(patterns=sample_urls.urlpatterns).get_schema(request=None, public=True)
    close = found["paths"]["/api/sample/suppliers/{code}/close-now/"]["post"]
    assert "202" in close["responses"] and "200" not in close["responses"]
    assert "Idempotency-Key" in {p["name"] for p in close["parameters"] if p["in"] == "header"}
    echo = found["paths"]["/api/sample/suppliers/{code}/echo/"]["post"]
    body = echo["requestBody"]["content"]["application/json"]["schema"]
    assert body == {"$ref": "#/components/schemas/GivenRequest"}
    assert not [p for p in echo["parameters"] if p["in"] == "header"]
