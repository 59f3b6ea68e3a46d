"""Rates over the API."""

import pytest

from costing.models.rates.rates import Rate
from tests.studio.web.api.people import client_as
from tests.studio.web.api.test_problems import fields_of, problem_in

pytestmark = pytest.mark.django_db
RATES = "/api/v1/rates/"
LABOR = {"kind": "labor_hour", "amount": "24.00", "effective_from": "2026-01-01"}


@pytest.fixture
def owner():
    return client_as("owner")


def made(client, **values):
    answer = client.post(RATES, {**LABOR, **values})
    assert answer.status_code == 201, answer.content
    return answer.json()


def change(client, row, body, method="patch"):
    return getattr(client, method)(f"{RATES}{row['id']}/", body, headers={"If-Match": "*"})


def test_a_rate_is_made_read_and_found_by_kind_and_day(owner):
    row = made(owner)
    assert row["amount"] == {"amount": "24.00", "currency": "USD"}
    made(owner, effective_from="2026-06-01", amount="26")
    made(owner, kind="overhead_batch", amount={"amount": "5", "currency": "USD"})
    assert owner.get(f"{RATES}{row['id']}/").json() == row
    query = {"kind": "labor_hour", "effective_from": "2026-01-01"}
    assert owner.get(RATES, query).json()["results"] == [row]
    query = {"effective_until": "2026-05-31"}
    assert len(owner.get(RATES, query).json()["results"]) == 2
    query = {"effective_since": "2026-05-31"}
    assert [r["amount"]["amount"] for r in owner.get(RATES, query).json()["results"]] == ["26.00"]


def test_a_rate_changes_by_its_revision_and_keeps_its_history(owner):
    row = made(owner)
    answer = owner.patch(f"{RATES}{row['id']}/", {"amount": "25.5"}, headers={"If-Match": '"1"'})
    assert (answer.status_code, answer.headers["ETag"]) == (200, '"2"')
    assert row["changed_by"] is not None
    assert answer.json() | {"updated_at": ""} == row | {
        "amount": {"amount": "25.50", "currency": "USD"},
        "revision": 2,
        "updated_at": "",
    }
    stale = owner.patch(f"{RATES}{row['id']}/", {"amount": "1"}, headers={"If-Match": '"1"'})
    problem_in(stale, 412, "stale")


def test_one_rate_of_a_kind_a_day(owner):
    first = made(owner)
    second = made(owner, effective_from="2026-02-01")
    problem_in(owner.post(RATES, LABOR), 409, "rate-taken")
    taken = change(owner, second, {"effective_from": first["effective_from"]})
    assert problem_in(taken, 409, "rate-taken")["errors"][0]["field"] == "effective_from"
    assert Rate.objects.count() == 2
    assert Rate.objects.get(pk=second["id"]).revision == 1


@pytest.mark.parametrize(
    ("values", "code", "field"),
    [
        ({"kind": "rent"}, "invalid-choice", "kind"),
        ({"amount": "-1"}, "negative", "amount"),
        ({"amount": "12,50"}, "not-a-number", "amount"),
        ({"amount": {"amount": "1", "currency": "XXX"}}, "other-currency", "amount"),
        ({"amount": None}, "null", "amount"),
        ({"effective_from": "soon"}, "invalid", "effective_from"),
        ({"per": "hour"}, "unknown-field", "per"),
        ({"revision": 5}, "read-only", "revision"),
        ({"id": 5}, "read-only", "id"),
    ],
)
def test_a_rate_that_cannot_be_read_is_refused(owner, values, code, field):
    answer = owner.post(RATES, {**LABOR, **values})
    document = problem_in(answer, 400, "invalid-fields")
    if code:
        assert [(e["field"], e["code"].replace("_", "-")) for e in document["errors"]] == [
            (field, code)
        ]
    assert not Rate.objects.exists()


def test_a_rate_beyond_reason_is_refused(owner):
    document = problem_in(owner.post(RATES, {**LABOR, "amount": "1000001"}), 422, "rate-refusal")
    assert fields_of(document) == {("amount", "too-large")}
    assert not Rate.objects.exists()


def test_all_faults_at_once(owner):
    body = {"kind": "rent", "amount": "x", "effective_from": "2026-13-01"}
    document = problem_in(owner.post(RATES, body), 400, "invalid-fields")
    assert {e["field"] for e in document["errors"]} == set(body)


@pytest.mark.parametrize("address", ["0", "x", "9" * 30])
def test_an_unknown_rate_is_not_found(owner, address):
    assert owner.get(f"{RATES}{address}/").status_code == 404


def test_a_filter_that_cannot_be_read_is_refused(owner):
    assert owner.get(RATES, {"kind": "rent"}).status_code == 400
    assert owner.get(RATES, {"effective_from": "soon"}).status_code == 400
    assert owner.get(RATES, {"amount": "24"}).status_code == 400


def test_rates_are_not_deleted(owner):
    assert owner.delete(f"{RATES}{made(owner)['id']}/").status_code == 405


@pytest.mark.parametrize(
    ("role", "allowed", "look", "write"),
    [
        ("owner", False, 200, 201),
        ("maker", False, 403, 403),
        ("maker", True, 200, 403),
        ("viewer", False, 403, 403),
        ("viewer", True, 200, 403),
        (None, True, 403, 403),
    ],
)
def test_who_may_see_and_set_rates(role, allowed, look, write):
    client = client_as(role, see_costs=allowed)
    row = made(client_as("owner"), effective_from="2025-01-01")
    assert client.get(RATES).status_code == look
    assert client.get(f"{RATES}{row['id']}/").status_code == look
    assert client.post(RATES, LABOR).status_code == write
    changed = change(client, row, {"amount": "1"}).status_code
    assert changed == (200 if write == 201 else 403)
