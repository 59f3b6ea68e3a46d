"""Updates overwrite nothing unseen: ETag and If-Match (RFC 9110, 13.1.1; RFC 6585, section 3)."""

import pytest

from inventory.models.catalog.suppliers import Supplier
from tests.studio.web.api.people import client_as, client_of, person
from tests.studio.web.api.test_problems import problem_in
from tests.studio.web.api.threads import in_threads

pytestmark = pytest.mark.django_db
ONE = "/api/sample/suppliers/one/"


@pytest.fixture
def client():
    client = client_as()
    made = client.post("/api/sample/suppliers/", {"code": "one", "name": "One"})
    assert made.status_code == 201
    assert made["ETag"] == '"1"'
    assert made["Location"].endswith(ONE)
    return client


def rename(client, name, **headers):
    names = {"if_match": "If-Match"}
    sent = {names[key]: value for key, value in headers.items()}
    return client.patch(ONE, {"name": name}, headers=sent)


def test_a_change_raises_the_revision(client):
    assert client.get(ONE)["ETag"] == '"1"'
    changed = rename(client, "Two", if_match='"1"')
    assert (changed.status_code, changed["ETag"], changed.json()["revision"]) == (200, '"2"', 2)
    row = Supplier.objects.get()
    assert (row.name, row.revision) == ("Two", 2)


def test_a_change_without_if_match_says_how(client):
    document = problem_in(rename(client, "Two"), 428, "if-match-missing")
    assert "If-Match" in document["detail"]
    assert Supplier.objects.get().name == "One"


@pytest.mark.parametrize("tag", ['"2"', 'W/"1"', '"0", "9"', '"01"', '""'])
def test_a_stale_or_weak_tag_changes_nothing(client, tag):
    document = problem_in(rename(client, "Two", if_match=tag), 412, "stale")
    assert '"1"' in document["detail"]
    assert Supplier.objects.get().revision == 1


@pytest.mark.parametrize("tag", ["1", "", '"1', "'1'", '"1" "2"', '"1",', "**"])
def test_an_unreadable_tag(client, tag):
    problem_in(rename(client, "Two", if_match=tag), 400, "if-match-unreadable")


@pytest.mark.parametrize("tag", ['"1"', '"7", "1"', "*", ' "1" '])
def test_tags_that_match(client, tag):
    assert rename(client, "Two", if_match=tag).status_code == 200


def test_the_second_of_two_changes_from_the_same_reading_is_refused(client):
    assert rename(client, "Two", if_match='"1"').status_code == 200
    problem_in(rename(client, "Three", if_match='"1"'), 412, "stale")
    assert Supplier.objects.get().name == "Two"


def test_a_refused_change_keeps_the_revision(client):
    response = client.put(ONE, {"code": "one"}, headers={"If-Match": '"1"'})
    problem_in(response, 400, "invalid-fields")
    assert Supplier.objects.get().revision == 1


def test_the_revision_cannot_be_written(client):
    response = client.patch(ONE, {"revision": 9}, headers={"If-Match": '"1"'})
    document = problem_in(response, 400, "invalid-fields")
    assert document["errors"][0]["code"] == "read-only"


def test_history_is_not_deleted(client):
    problem_in(client.delete(ONE), 405, "method-not-allowed")


def test_of_many_changes_at_once_one_is_kept(database):
    user = person()
    Supplier.objects.create(code="one", name="One")
    names = [f"name {number}" for number in range(6)]
    answers = in_threads(
        [lambda name=name: rename(client_of(user), name, if_match='"1"') for name in names]
    )
    assert sorted(answer.status_code for answer in answers) == [200] + [412] * 5
    (kept,) = [answer.json()["name"] for answer in answers if answer.status_code == 200]
    row = Supplier.objects.get()
    assert (row.name, row.revision) == (kept, 2)
