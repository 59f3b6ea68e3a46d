"""Quotes by hand: written, worked out, sent with its letter, answered, and who may."""

import pytest
from django.core import mail
from django.test import Client
from django.utils import timezone

from costing.models.orders.sales import SalesOrder
from costing.models.quotes.quotes import Quote, QuoteMail
from costing.models.rates.rates import Rate
from costing.services.quotes.quotes import send_quote
from tests.costing.selling import UNIT
from tests.costing.services.quotes.test_quotes import a_draft, a_shop
from tests.read_pages import read
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop(db):
    return a_shop()


def signed_in(role="owner", **values):
    client = Client()
    client.force_login(person(role, **values))
    return client


def posted(*lines, **values):
    rows = {"lines-TOTAL_FORMS": len(lines) + 1, "lines-INITIAL_FORMS": 0}
    for index, line in enumerate(lines):
        rows |= {f"lines-{index}-{name}": value for name, value in line.items()}
    return {"customer": "The Corner Shop (invented)", **rows, **values}


def draft(**values):
    return a_draft(on=timezone.localdate(), **values)


def sent(**values):
    return send_quote(draft(**values).code, on=timezone.localdate(), mail=False)


def page(client, address, status=200, **query):
    response = client.get(address, query)
    assert response.status_code == status, read(response)
    return read(response)


def test_a_quote_is_written_and_worked_out(shop):
    client = signed_in()
    form = page(client, "/quotes/new/", customer="corner")
    assert 'value="The Corner Shop (invented)"' in form and "Plain olive bar" in form
    line = {"product": "plain olive BAR", "quantity": "48"}
    answer = client.post("/quotes/new/", posted(line, freight="15", wanted_on=""))
    assert answer.status_code == 303, read(answer)
    quote = Quote.objects.get()
    assert answer["Location"] == f"/quotes/{quote.code}/"
    shown = page(client, answer["Location"])
    # 48 x 18.00 less 5 % = 820.80; with freight 835.80; 8 % of it 66.86
    assert "$902.66" in shown and "2 cartons" in shown and "Wholesale list" in shown
    assert "made anew" in shown and "Send quote" in shown and "new batch" in shown
    assert quote.by.username and quote.state == "draft"


@pytest.mark.parametrize(
    ("line", "values", "words"),
    [
        ({"product": "Soap of nobody", "quantity": "4"}, {}, "There is no product of that name"),
        ({"product": "plain-bar", "quantity": "0"}, {}, "greater than or equal to 1"),
        ({"product": "plain-bar", "quantity": "4", "price": "dear"}, {}, "dear"),
        ({"product": "plain-bar", "quantity": "4"}, {"customer": "Nobody"}, "no customer of that"),
        ({"product": "plain-bar", "quantity": "4"}, {"wanted_on": "2020-01-01"}, "still to come"),
        ({"product": "plain-bar", "quantity": "4"}, {"discount": "100"}, "less than 1"),
        ({"product": "plain-bar"}, {}, "How many bars?"),
        ({}, {}, "from 1 to 200 lines"),
    ],
)
def test_what_cannot_be_is_told_and_kept(shop, line, values, words):
    answer = signed_in().post("/quotes/new/", posted(line, **values))
    shown = read(answer)
    assert answer.status_code == 422 and words in shown
    for value in [*line.values(), *values.values()]:
        assert f'value="{value}"' in shown, "what was typed is lost"
    assert not Quote.objects.exists()


def test_a_draft_is_changed_by_who_saw_it_last(shop):
    client, quote = signed_in(), draft()
    address = f"/quotes/{quote.code}/change/"
    assert 'value="48"' in page(client, address)
    line = {"product": "plain-bar", "quantity": "2", "price": "21", "bars_per_carton": "2"}
    assert client.post(address, posted(line, revision=quote.revision)).status_code == 303
    stale = client.post(address, posted(line, revision=quote.revision))
    assert stale.status_code == 422 and "Somebody else saved it" in read(stale)
    assert Quote.objects.get().lines.get().price == 21 * UNIT
    again = client.post(f"/quotes/{quote.code}/again/", {"once": "k"})
    assert again.status_code == 303 and Quote.objects.get().revision == quote.revision + 2


def test_it_is_sent_once_with_its_mail_and_then_frozen(shop):
    client, quote = signed_in(), draft()
    address = f"/quotes/{quote.code}/send/"
    shown = page(client, address)
    assert "48 x Plain olive bar" in shown and "letter.pdf?paper=letter" in shown
    for _ in range(2):
        answer = client.post(address, {"mail": "on", "size": "letter", "once": "k"})
        assert answer.status_code == 303
    written = QuoteMail.objects.get()
    assert (written.to, written.size) == ("buyer@corner.example", "letter")
    assert not mail.outbox, "it goes out after all is committed"
    assert client.get(f"/quotes/{quote.code}/change/").status_code == 303
    shown = page(client, f"/quotes/{quote.code}/")
    assert "Revise" in shown and "waiting to go out" in shown and "Send quote" not in shown
    late = client.post(address, {"mail": "", "size": "a4", "once": "k-2"})
    assert late.status_code == 422 and "only one that is draft" in read(late)


def test_under_the_floor_only_an_owner_sends_with_a_reason(shop):
    quote = a_draft({"quantity": 4, "price": UNIT}, on=timezone.localdate())
    client, address = signed_in(), f"/quotes/{quote.code}/send/"
    assert "would be on it" in page(client, f"/quotes/{quote.code}/")
    refused = client.post(address, {"size": "a4", "once": "k"})
    assert refused.status_code == 422 and "under the floor" in read(refused)
    answer = client.post(address, {"size": "a4", "override_reason": "Opening week.", "once": "k-2"})
    assert answer.status_code == 303
    assert "Opening week." in page(client, f"/quotes/{quote.code}/")


def test_accepting_makes_an_order_once(shop):
    client, quote = signed_in(), sent()
    address = f"/quotes/{quote.code}/accept/"
    assert "said yes" in page(client, address)
    short = client.post(address, {"mode": "all", "once": "k"})
    assert short.status_code == 422 and not SalesOrder.objects.exists()
    asked = {"mode": "parts", "plan": "on", "reference": "PO 7", "once": "k-2"}
    first, again = client.post(address, asked), client.post(address, asked)
    order = SalesOrder.objects.get()
    assert first["Location"] == again["Location"] == f"/orders/{order.code}/"
    assert order.reference == "PO 7" and order.lines.get().batches.exists()
    assert order.code in page(client, f"/quotes/{quote.code}/")


def test_stated_parts_must_be_there(shop):
    quote = sent()
    stated = {"mode": "stated", "bars_1": "7", "once": "k"}
    answer = signed_in().post(f"/quotes/{quote.code}/accept/", stated)
    assert answer.status_code == 422 and 'value="7"' in read(answer)


def test_declined_and_revised(shop):
    client, quote = signed_in(), sent()
    answer = client.post(f"/quotes/{quote.code}/decline/", {"reason": "Too dear.", "once": "k"})
    assert answer.status_code == 303 and "Too dear." in page(client, f"/quotes/{quote.code}/")
    again = client.post(f"/quotes/{quote.code}/decline/", {"reason": "Still.", "once": "k-2"})
    assert again.status_code == 422 and "only one that is sent" in read(again)
    revised = client.post(f"/quotes/{quote.code}/revise/", {"once": "k-3"})
    new = Quote.objects.get(replaces=quote)
    assert revised["Location"] == f"/quotes/{new.code}/"


def test_who_may(shop):
    quote = draft()
    maker = signed_in("maker")
    for address in ("", "new/", f"{quote.code}/", f"{quote.code}/send/"):
        page(maker, f"/quotes/{address}", 403)
    seeing = signed_in("viewer", see_costs=True)
    shown = page(seeing, f"/quotes/{quote.code}/")
    assert "Send quote" not in shown and "Change" not in shown
    page(seeing, f"/quotes/{quote.code}/send/", 403)
    assert page(signed_in("owner"), "/quotes/Q-99999/", 404)


def test_the_list_finds_and_stays_flat(shop, django_assert_max_num_queries):
    client = signed_in()
    assert "Write the first quote" in page(client, "/quotes/")
    quote = draft()
    rows = [
        Quote(
            code=f"Q-X{n}", customer=quote.customer, quoted_on=quote.quoted_on,
            valid_until=quote.valid_until,
        )
        for n in range(300)
    ]  # fmt: skip
    Quote.objects.bulk_create(rows)
    with django_assert_max_num_queries(7):
        shown = page(client, "/quotes/")
    assert shown.count("<tr>") == 51 and "Later" in shown
    assert quote.code in page(client, "/quotes/", q=quote.code)
    assert "No quote is like that" in page(client, "/quotes/", state="accepted")
    with django_assert_max_num_queries(12):
        page(client, f"/quotes/{quote.code}/")


def test_a_floor_that_is_not_known_is_told_and_asks_an_owner(shop):
    Rate.objects.filter(kind="labor_hour").delete()
    quote = draft()
    owner = signed_in()
    shown = page(owner, f"/quotes/{quote.code}/")
    assert "Floor not known" in shown and "the floor is at least" in shown
    asked = page(owner, f"/quotes/{quote.code}/send/")
    assert "Why it is sent all the same" in asked
    form = {"size": "a4", "override_reason": "", "once": "first"}
    refused = owner.post(f"/quotes/{quote.code}/send/", form)
    assert refused.status_code == 422 and "not all that a bar costs is known" in read(refused)
    assert Quote.objects.get().state == "draft"
    form |= {"override_reason": "Trade fair", "once": "second"}
    assert owner.post(f"/quotes/{quote.code}/send/", form).status_code == 303
    kept = page(owner, f"/quotes/{quote.code}/")
    assert "Sent though its floor is not known, by" in kept and "Trade fair" in kept
