"""Quotes over the API: written, sent once for one key, declined, revised, printed."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from costing.models.quotes.quotes import Quote, QuoteMail
from costing.services.quotes.quotes import mark_accepted
from tests.costing.services.quotes.test_quotes import a_shop
from tests.inventory.api.calls import Caller, usd
from tests.studio.foundation.paper.reading import text_of
from tests.studio.web.api.test_problems import fields_of, problem_in

pytestmark = pytest.mark.django_db
DRAFT = {
    "customer": "corner",
    "lines": [{"product": "plain-bar", "quantity": 48}],
    "freight": "15.00",
    "note": "Ring twice.",
}


@pytest.fixture
def owner(db):
    a_shop()
    return Caller()


def test_a_draft_shows_prices_costs_floors_margins_and_dates(owner):
    row = owner.made("quotes/", DRAFT)
    (line,) = row["lines"]
    assert (row["state"], row["customer_name"][:10]) == ("draft", "The Corner")
    assert (line["price"], line["list_price"], line["own_price"]) == (
        usd("18.00"),
        usd("18.00"),
        None,
    )
    assert (line["bars_per_carton"], line["cartons"], line["carton_price"]) == (
        24,
        2,
        usd("432.00"),
    )
    # 48 x 18.00 less 5 % = 820.80; with freight 835.80; 8 % of it 66.86
    assert (row["goods"], row["tax"], row["total"]) == (usd("820.80"), usd("66.86"), usd("902.66"))
    assert line["under_floor"] is False and Decimal(line["margin_replacement"]) > Decimal("0.4")
    assert line["promise"]["parts"][0]["kind"] == "new" and line["promised_on"]
    assert [event["state"] for event in row["events"]] == ["draft"]
    assert owner.seen(f"quotes/{row['code']}/") == row
    assert owner.rows("quotes/", state="draft", customer="corner", product="plain-bar") == [row]
    assert owner.rows("quotes/", state="sent") == []


def test_a_draft_changes_by_its_revision(owner):
    row = owner.made("quotes/", DRAFT)
    path = f"quotes/{row['code']}/"
    lines = [{"product": "plain-bar", "quantity": 2, "price": "21", "bars_per_carton": 2}]
    changed = owner.patch(path, {"lines": lines, "discount": "10 %"}, match='"1"').json()
    assert (changed["revision"], changed["goods"], changed["note"]) == (
        2,
        usd("37.80"),
        "Ring twice.",
    )
    kept = owner.patch(path, {"note": ""}, match='"2"').json()
    assert (kept["goods"], kept["discount"], kept["lines"][0]["own_price"]) == (
        usd("37.80"), "0.1", usd("21.00"),
    )  # fmt: skip
    problem_in(owner.patch(path, {"note": "x"}, match='"2"'), 412, "stale")
    problem_in(owner.patch(path, {"note": "x"}, match=None), 428, "if-match-missing")
    again = owner.post(f"{path}recalculate/")
    assert again.status_code == 200 and again.headers["ETag"] == '"4"'


def test_faults_stand_by_their_fields(owner):
    lines = [{"product": "moon", "quantity": 1}, {"product": "plain-bar", "quantity": 10**6}]
    answer = owner.post("quotes/", {**DRAFT, "lines": lines, "discount": "1"})
    assert {name for name, _ in fields_of(answer.json())} == {
        "lines.0.product", "lines.1.quantity", "discount",
    }  # fmt: skip
    assert Quote.objects.count() == 0


def test_sending_happens_once_for_one_key(owner):
    code = owner.made("quotes/", DRAFT)["code"]
    first = owner.post(f"quotes/{code}/send/", {"paper": "letter"}, key="once")
    again = owner.post(f"quotes/{code}/send/", {"paper": "letter"}, key="once")
    assert first.status_code == 200 and first.json() == again.json()
    assert again.headers["Idempotent-Replayed"] == "true"
    row = owner.seen(f"quotes/{code}/")
    assert row["state"] == "sent" and [m["size"] for m in row["mails"]] == ["letter"]
    assert QuoteMail.objects.count() == 1
    problem_in(owner.post(f"quotes/{code}/send/"), 409, "quote-settled")
    problem_in(owner.patch(f"quotes/{code}/", {"note": "x"}), 409, "quote-settled")


def test_without_an_address_nothing_is_sent(owner):
    code = owner.made("quotes/", DRAFT)["code"]
    owner.patch("customers/corner/", {"email": ""})
    answer = owner.post(f"quotes/{code}/send/")
    assert fields_of(answer.json()) == {("customer.email", "quote-refused")}
    assert owner.seen(f"quotes/{code}/")["state"] == "draft"
    assert owner.post(f"quotes/{code}/send/", {"mail": False}).status_code == 200


def test_under_the_floor_an_owner_gives_a_reason(owner):
    lines = [{"product": "plain-bar", "quantity": 48, "price": "0.10"}]
    code = owner.made("quotes/", {**DRAFT, "lines": lines})["code"]
    assert owner.seen(f"quotes/{code}/")["lines"][0]["under_floor"] is True
    refused = owner.post(f"quotes/{code}/send/").json()
    assert refused["code"] == "quote-under-floor"
    assert refused["errors"][0].keys() >= {"price", "floor", "restoring_price"}
    body = {"override_reason": "A fair", "mail": False}
    row = owner.post(f"quotes/{code}/send/", body).json()
    assert row["override_reason"] == "A fair" and "A fair" in row["events"][-1]["note"]
    letter = owner.get(f"quotes/{code}/letter.pdf").content
    assert "A fair" not in text_of(letter)


def test_a_letter_is_the_same_file_each_time_on_both_papers(owner):
    code = owner.made("quotes/", DRAFT)["code"]
    draft = owner.get(f"quotes/{code}/letter.pdf", paper="a4")
    assert draft.status_code == 200 and "draft" in text_of(draft.content)
    owner.post(f"quotes/{code}/send/", {"mail": False})
    for paper in ("a4", "letter"):
        sent = [owner.get(f"quotes/{code}/letter.pdf", paper=paper).content for _ in range(2)]
        assert sent[0] == sent[1] and "draft" not in text_of(sent[0])
    text = text_of(sent[0])
    for shown in (code, "$18.00", "$432.00", "$902.66", "2 cartons", "Ring twice.", "page 1 of 1"):
        assert shown in text
    problem_in(owner.get(f"quotes/{code}/letter.pdf", paper="a5"), 422, "invalid-input")
    problem_in(owner.get("quotes/Q-9/letter.pdf"), 404, "not-found")


def test_declining_and_revising(owner):
    code = owner.made("quotes/", DRAFT)["code"]
    problem_in(owner.post(f"quotes/{code}/decline/"), 409, "quote-settled")
    owner.post(f"quotes/{code}/send/", {"mail": False})
    made = owner.post(f"quotes/{code}/revise/")
    assert made.status_code == 201 and made.headers["Location"].endswith("/quotes/Q-00002/")
    assert (made.json()["replaces"], made.json()["state"]) == (code, "draft")
    declined = owner.post(f"quotes/{code}/decline/", {"reason": "too dear"}).json()
    assert (declined["state"], declined["replaced_by"]) == ("declined", ["Q-00002"])
    assert (declined["events"][-1]["note"], declined["events"][0]["state"]) == ("too dear", "draft")


def test_what_is_over_is_told_so(owner):
    code = owner.made("quotes/", DRAFT)["code"]
    owner.post(f"quotes/{code}/send/", {"mail": False})
    quote = Quote.objects.get()
    with pytest.raises(Exception, match="valid until"):
        mark_accepted(quote, on=timezone.localdate() + timedelta(days=31))


def test_only_those_who_price_and_see_costs(owner):
    code = owner.made("quotes/", DRAFT)["code"]
    verbs = ("send", "decline", "revise", "recalculate")
    for caller in (Caller("maker"), Caller("viewer"), Caller("maker", see_costs=True)):
        problem_in(caller.post("quotes/", DRAFT), 403, "not-allowed")
        problem_in(caller.patch(f"quotes/{code}/", {"note": "x"}), 403, "not-allowed")
        for verb in verbs:
            problem_in(caller.post(f"quotes/{code}/{verb}/"), 403, "not-allowed")
    for path in ("quotes/", f"quotes/{code}/", f"quotes/{code}/letter.pdf"):
        problem_in(Caller("maker").get(path), 403, "not-allowed")
        assert Caller("viewer", see_costs=True).get(path).status_code == 200


def test_reading_a_quote_takes_as_many_queries_for_any_lines(owner):
    def queries(lines):
        code = owner.made("quotes/", {**DRAFT, "lines": DRAFT["lines"] * lines})["code"]
        with CaptureQueriesContext(connection) as seen:
            owner.seen(f"quotes/{code}/")
        return len(seen)

    assert queries(1) == queries(12)
