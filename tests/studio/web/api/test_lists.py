"""Lists: bounded pages that do not jump, and no query parameter ignored."""

import base64

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.models.catalog.suppliers import Supplier
from tests.studio.web.api.people import client_as
from tests.studio.web.api.test_problems import problem_in

pytestmark = pytest.mark.django_db
SUPPLIERS = "/api/sample/suppliers/"
BY_ID = "/api/sample/by-id/"
FIXTURES = settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])


@pytest.fixture
def client():
    return client_as()


def fill(count):
    Supplier.objects.bulk_create(
        Supplier(code=f"s{number:03}", name=f"S{number % 2}") for number in range(count)
    )


def walk(client, address):
    codes = []
    while address:
        page = client.get(address).json()
        codes += [row["code"] for row in page["results"]]
        address = page["next"]
    return codes


@pytest.mark.parametrize("address", [SUPPLIERS, BY_ID])
def test_pages_join_to_the_whole(client, address):
    fill(23)
    assert walk(client, address + "?page_size=5") == [f"s{n:03}" for n in range(23)]


def test_rows_coming_in_between_move_no_page(client):
    fill(6)
    page = client.get(SUPPLIERS + "?page_size=3").json()
    Supplier.objects.create(code="s000a", name="late")
    assert walk(client, page["next"]) == ["s003", "s004", "s005"]


@pytest.mark.parametrize("size", ["0", "201", "-1", "x", "", "1.5", "²", "9" * 50])
def test_size_of_a_page_is_bounded(client, size):
    document = problem_in(client.get(SUPPLIERS, {"page_size": size}), 400, "invalid-fields")
    assert document["errors"][0]["field"] == "page_size"


def test_largest_page(client):
    fill(201)
    assert len(client.get(SUPPLIERS + "?page_size=200").json()["results"]) == 200


@FIXTURES
@given(st.text(max_size=30) | st.binary(max_size=30).map(lambda b: base64.b64encode(b).decode()))
def test_junk_cursors_are_never_a_failure(client, junk):
    for address in (SUPPLIERS, BY_ID):
        assert client.get(address, {"cursor": junk}).status_code in (200, 400)


@pytest.mark.parametrize(
    ("address", "inside"),
    [(BY_ID, "p=abc"), (BY_ID, "p=1.5"), (SUPPLIERS, "p=a%00b"), (BY_ID, "o=x"), (BY_ID, "r=x")],
)
def test_made_up_positions_are_refused(client, address, inside):
    cursor = base64.b64encode(inside.encode()).decode()
    document = problem_in(client.get(address, {"cursor": cursor}), 400, "invalid-fields")
    assert document["errors"][0]["field"] == "cursor"


def test_positions_beyond_the_database_are_empty_pages(client):
    fill(1)
    cursor = base64.b64encode(b"p=" + b"9" * 60).decode()
    assert client.get(BY_ID, {"cursor": cursor}).json()["results"] == []


def test_rows_found_by_number(client):
    fill(1)
    row = Supplier.objects.get()
    assert client.get(f"{BY_ID}{row.pk}/").status_code == 200
    for wrong in ("x", "9" * 60, "1.5", "٣"):
        problem_in(client.get(f"{BY_ID}{wrong}/"), 404, "not-found")
        problem_in(client.put(f"{BY_ID}{wrong}/", {}, headers={"If-Match": "*"}), 404, "not-found")


def test_filters(client):
    fill(4)
    assert len(client.get(SUPPLIERS + "?name=S1").json()["results"]) == 2
    assert len(client.get(SUPPLIERS + "?minimum_order__range=0,1").json()["results"]) == 4
    assert client.get(SUPPLIERS + "?minimum_order__range=1,9").json()["results"] == []


@pytest.mark.parametrize(
    "address",
    [SUPPLIERS + "?nmae=S1", SUPPLIERS + "s000/?name=S1", SUPPLIERS + "?format=json"],
)
def test_parameters_that_nothing_reads_are_refused(client, address):
    fill(1)
    document = problem_in(client.get(address), 400, "unknown-query")
    assert document["errors"][0]["field"] in ("nmae", "name", "format")


def test_the_known_parameters_are_told(client):
    document = client.get(SUPPLIERS + "?nmae=S1").json()
    assert "active, cursor" in document["detail"] and "page_size" in document["detail"]


def test_unreadable_values_are_named(client):
    document = problem_in(client.get(SUPPLIERS + "?minimum_order=x"), 400, "invalid-fields")
    assert document["errors"][0]["field"] == "minimum_order"
