"""Every failure is a problem document (RFC 9457, sections 3.1 and 3.2)."""

import json

import pytest
from django.db import IntegrityError, OperationalError
from hypothesis import given
from hypothesis import strategies as st
from rest_framework.test import APIClient

from studio.foundation.errors import Fault, Refusal
from studio.web.error_tree import as_validation_error, faults_in
from studio.web.problems import problem_for
from tests.studio.web.api.people import client_as

pytestmark = pytest.mark.django_db
SUPPLIERS = "/api/sample/suppliers/"
DOUBLE = "/api/sample/double/"


def problem_in(response, status, code):
    """The document of an answer, after checking what all of them have."""
    assert response.status_code == status, response.content
    assert response["Content-Type"] == "application/problem+json"
    document = json.loads(response.content)
    assert document["type"] == f"/api/problems/{code}/"
    assert (document["status"], document["code"]) == (status, code)
    assert document["title"] and document["detail"]
    assert all({"code", "field", "detail"} <= set(entry) for entry in document["errors"])
    return document


def fields_of(document):
    return {(entry["field"], entry["code"]) for entry in document["errors"]}


def test_all_field_errors_at_once_with_dotted_paths():
    body = {"lines": [{"amount": 1}, {"amount": 0}, {}], "note": None, "size": 3}
    document = problem_in(client_as().post(DOUBLE, body), 400, "invalid-fields")
    assert fields_of(document) == {
        ("lines.1.amount", "min_value"),
        ("lines.2.amount", "required"),
        ("note", "null"),
        ("size", "unknown-field"),
    }
    assert document["detail"] == "4 things are wrong."
    (unknown,) = [e for e in document["errors"] if e["field"] == "size"]
    assert "Known: lines, note" in unknown["detail"]


def test_refusal_in_validate_joins_the_field_errors_with_its_details():
    body = {"lines": [{"amount": 1}] * 3}
    document = problem_in(client_as().post(DOUBLE, body), 400, "invalid-fields")
    assert fields_of(document) == {("lines", "too-many"), ("lines.2.amount", "line-over")}
    assert [e["most"] for e in document["errors"] if e["code"] == "line-over"] == [2]


@pytest.mark.parametrize(
    "body",
    [
        "{",
        b"\xff",
        '{"a": NaN}',
        '{"lines": [], "lines": []}',
        '{"a": 1e999999999}',
        '{"a": ' + "9" * 5000 + "}",
        "[" * 100_000,
        '{"a":' * 50 + "1" + "}" * 50,
    ],
)
def test_unreadable_body(body):
    response = client_as().generic("POST", DOUBLE, body, content_type="application/json")
    problem_in(response, 400, "unreadable")


@pytest.mark.parametrize("body", ["[]", "3", '"x"', "null"])
def test_body_that_is_no_object(body):
    response = client_as().generic("POST", DOUBLE, body, content_type="application/json")
    problem_in(response, 400, "invalid-fields")


def test_text_that_no_database_keeps_is_named():
    body = '{"lines": [], "note": "a\\u0000b", "\\ud800": 1}'
    response = client_as().generic("POST", DOUBLE, body, content_type="application/json")
    document = problem_in(response, 400, "unreadable-text")
    assert ("note", "unreadable-text") in fields_of(document)


def test_nul_in_query_and_address(database):
    client = client_as()
    problem_in(client.get(SUPPLIERS + "?name=a%00b"), 400, "unreadable-text")
    problem_in(client.get(SUPPLIERS + "a%00b/"), 404, "not-found")


def test_not_signed_in_says_how():
    response = APIClient().get(SUPPLIERS)
    problem_in(response, 401, "not-signed-in")
    assert response["WWW-Authenticate"] == "Token"


@pytest.mark.parametrize("token", ["Token nonsense", "Token a b", "Token", "Token é", "Token Ã©"])
def test_bad_token(token):
    client = APIClient(headers={"Authorization": token})
    problem_in(client.get(SUPPLIERS), 401, "sign-in-failed")


def test_session_without_csrf_token_is_refused(client_person):
    user, _ = client_person
    client = APIClient(enforce_csrf_checks=True)
    client.force_login(user)
    problem_in(client.post(DOUBLE, {"lines": []}), 403, "not-allowed")


@pytest.fixture
def client_person():
    from tests.studio.web.api.people import client_of, person

    user = person()
    return user, client_of(user)


def test_statuses_of_the_edge():
    client = client_as()
    problem_in(client.get(SUPPLIERS + "nobody/"), 404, "not-found")
    problem_in(client.delete(SUPPLIERS), 405, "method-not-allowed")
    problem_in(client.options(SUPPLIERS), 405, "method-not-allowed")
    problem_in(client.get(SUPPLIERS, headers={"Accept": "text/csv"}), 406, "not-acceptable")
    response = client.generic("POST", DOUBLE, "a=1", content_type="text/plain")
    problem_in(response, 415, "unsupported-media-type")
    problem_in(client.get("/api/v1/nothing/here"), 404, "not-found")
    problem_in(client.get("/api/"), 404, "not-found")


def test_body_beyond_the_bound(settings):
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 100
    problem_in(client_as().post(DOUBLE, {"lines": [], "note": "x" * 200}), 413, "too-large")


@pytest.mark.parametrize(
    ("sort", "status", "code"),
    [
        ("invalid", 422, "invalid-input"),
        ("missing", 404, "not-found"),
        ("conflict", 409, "state-conflict"),
        ("model", 400, "invalid-fields"),
    ],
)
def test_refusals_get_the_status_of_their_kind(sort, status, code):
    problem_in(client_as().get(f"/api/sample/raising/{sort}/"), status, code)


def test_details_of_a_fault_are_told():
    document = client_as().get("/api/sample/raising/invalid/").json()
    assert document["errors"] == [
        {"code": "invalid-input", "field": "a.b", "detail": "Bad.", "least": 1}
    ]


def test_fault_of_the_program_shows_no_trace():
    client = client_as()
    client.raise_request_exception = False
    response = client.get("/api/sample/raising/bug/")
    problem_in(response, 500, "failed")
    assert b"secret" not in response.content and b"Traceback" not in response.content


def test_foreign_host_is_a_problem_too():
    response = client_as().get(SUPPLIERS, headers={"Host": "elsewhere.example"})
    problem_in(response, 400, "bad-request")


def test_unique_clash_found_by_the_serializer_is_409():
    client = client_as()
    assert client.post(SUPPLIERS, {"code": "one", "name": "One"}).status_code == 201
    document = problem_in(
        client.post(SUPPLIERS, {"code": "one", "name": "X"}), 409, "already-taken"
    )
    assert fields_of(document) == {("code", "unique")}


def test_constraints_of_the_database_are_problems(database):
    from inventory.models.catalog.suppliers import Supplier

    Supplier.objects.create(code="one", name="One")
    for row, code in (
        (Supplier(code="one", name="Two"), "already-taken"),
        (Supplier(code="two", name="Two", minimum_order=-1), "guard-refused"),
    ):
        with pytest.raises(IntegrityError) as caught:
            row.save()
        assert problem_for(caught.value).type.code == code


def test_waiting_too_long_for_the_books_is_503():
    problem = problem_for(OperationalError("database is locked"))
    assert (problem.type.status, problem.headers["Retry-After"]) == (503, "1")
    assert problem_for(OperationalError("no such table: lots")) is None


PATHS = st.lists(st.sampled_from(["lines", "0", "1", "amount"]), max_size=4).map(".".join)
FAULTS = st.lists(
    st.builds(
        Fault,
        st.sampled_from(["short", "long"]),
        st.text(min_size=1, max_size=9),
        PATHS,
        st.dictionaries(st.sampled_from(["needed", "least"]), st.integers(), max_size=2),
    ),
    min_size=1,
    max_size=6,
)


@given(FAULTS)
def test_faults_survive_the_way_through_the_framework(faults):
    """Whatever paths they have, none is lost, moved or stripped of its details."""
    error = as_validation_error(Refusal(faults=faults))
    found = list(faults_in(error.detail))
    key = lambda f: (f.field, f.code, f.message, sorted(f.details.items()))  # noqa: E731
    assert sorted(found, key=key) == sorted(faults, key=key)
