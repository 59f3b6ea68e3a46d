"""One effect for one Idempotency-Key, on SQLite and on PostgreSQL, with real threads."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory.models.catalog.suppliers import Supplier
from studio.models import IdempotencyRecord
from studio.web.idempotency import forget_old_keys
from tests.studio.web.api import sample_urls
from tests.studio.web.api.people import client_as, client_of, person
from tests.studio.web.api.test_problems import problem_in
from tests.studio.web.api.threads import in_threads

RECEIVE = "/api/sample/suppliers/receive/"
KEY = "3f0e-aa"


def receive(client, key=KEY, address=RECEIVE, **body):
    headers = {} if key is None else {"Idempotency-Key": key}
    return client.post(address, {"code": "a", **body}, headers=headers)


@pytest.mark.django_db
class TestOneAfterTheOther:
    def test_the_same_request_again_gets_the_same_bytes(self):
        client = client_as()
        first, again = receive(client), receive(client)
        assert (first.status_code, again.status_code) == (201, 201)
        assert again.content == first.content
        assert again["Idempotent-Replayed"] == "true" and "Idempotent-Replayed" not in first
        for name in ("Content-Type", "ETag"):
            assert again[name] == first[name]
        assert Supplier.objects.count() == 1

    def test_another_body_or_address_is_refused(self):
        client = client_as()
        receive(client)
        problem_in(receive(client, note="x"), 422, "idempotency-key-reused")
        problem_in(receive(client, code="b"), 422, "idempotency-key-reused")
        assert Supplier.objects.count() == 1

    def test_keys_belong_to_their_user(self):
        receive(client_as())
        assert receive(client_as(), code="b").status_code == 201

    def test_an_answer_with_costs_is_not_replayed_to_who_sees_them_no_more(self):
        user = person("maker", see_costs=True)
        first = receive(client_of(user))
        assert "minimum_order" in first.json()
        user.membership.may_see_costs = False
        again = receive(client_of(user))
        problem_in(again, 422, "idempotency-key-reused")
        assert b"minimum_order" not in again.content

    def test_without_a_key_it_says_how(self):
        document = problem_in(receive(client_as(), key=None), 400, "idempotency-key-missing")
        assert "Idempotency-Key" in document["detail"]
        assert not Supplier.objects.exists()

    @pytest.mark.parametrize("key", ["a b", "x" * 201, "schlüssel", "a\tb"])
    def test_unusable_keys(self, key):
        problem_in(receive(client_as(), key=key), 400, "idempotency-key-unreadable")

    @pytest.mark.parametrize("key", ["!", "~" * 200])
    def test_usable_keys(self, key):
        assert receive(client_as(), key=key).status_code == 201

    def test_a_refusal_undoes_its_effect_and_is_final(self):
        client = client_as()
        first = receive(client, then="refuse")
        problem_in(first, 409, "state-conflict")
        assert not Supplier.objects.exists()
        again = receive(client, then="refuse")
        assert again.content == first.content
        assert again["Content-Type"] == first["Content-Type"] == "application/problem+json"
        assert again["Idempotent-Replayed"] == "true"

    def test_a_refusing_answer_undoes_its_effect_too(self):
        assert receive(client_as(), then="answer 422").status_code == 422
        assert not Supplier.objects.exists()

    def test_a_failure_leaves_nothing_and_frees_the_key(self):
        client = client_as()
        with pytest.raises(RuntimeError):
            receive(client, then="fail")
        assert not Supplier.objects.exists()
        assert not IdempotencyRecord.objects.exists()
        assert receive(client).status_code == 201

    def test_what_is_refused_before_the_action_is_not_kept(self):
        user = person("viewer")
        problem_in(receive(client_of(user)), 403, "not-allowed")
        user.membership.role = "maker"
        assert receive(client_of(user)).status_code == 201

    def test_old_keys_are_forgotten(self):
        client = client_as()
        receive(client)
        now = timezone.now()
        assert forget_old_keys(now) == 0
        assert forget_old_keys(now + timedelta(days=8)) == 1
        problem_in(receive(client), 409, "already-taken")  # the key is free, the code is not


def test_overhead_in_queries(database):
    """Look up and keep; a lock on PostgreSQL; one savepoint around the effect."""
    client = client_as()
    with CaptureQueriesContext(
        connection,
    ) as captured:
        receive(client)
    words = [query["sql"].split()[0] for query in captured]
    own = [q["sql"] for q in captured if "idempotency" in q["sql"] or "advisory" in q["sql"]]
    assert len(own) == (3 if database.name == "postgres" else 2)
    assert words.count("SAVEPOINT") <= 1


def test_many_at_once_have_one_effect(database):
    user = person()
    answers = in_threads([lambda: receive(client_of(user))] * 8)
    done = [answer for answer in answers if answer.status_code == 201]
    waiting = [answer for answer in answers if answer.status_code != 201]
    assert done and len({answer.content for answer in done}) == 1
    assert sum("Idempotent-Replayed" not in answer for answer in done) == 1
    assert Supplier.objects.count() == 1
    for answer in waiting:
        problem_in(answer, 409, "idempotency-key-in-use")
    if database.name == "sqlite":  # one writer at a time: each waits and replays
        assert waiting == []


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_while_the_first_runs_the_second_is_refused():
    user = person()
    sample_urls.ENTERED.clear()
    sample_urls.GO_ON.clear()

    def second():
        assert sample_urls.ENTERED.wait(20)
        try:
            return receive(client_of(user), then="wait")
        finally:
            sample_urls.GO_ON.set()

    first, refused = in_threads([lambda: receive(client_of(user), then="wait"), second])
    problem_in(refused, 409, "idempotency-key-in-use")
    assert first.status_code == 201
    assert receive(client_of(user), then="wait").content == first.content
