"""Two people at one quote at once: one of them is first, on both databases."""

from datetime import timedelta

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from costing.models.quotes.quotes import Quote, QuoteEvent, QuoteMail
from costing.services.quotes.drafts import change_quote
from costing.services.quotes.quotes import decline_quote, expire_quotes, mark_accepted, send_quote
from tests.costing.services.quotes.test_quotes import a_draft, a_shop, asked
from tests.inventory.making import TODAY
from tests.threads import at_once

NEXT = TODAY + timedelta(days=1)


@pytest.fixture
def draft(database):
    a_shop()
    return a_draft(valid_until=TODAY)


def together(calls):
    return at_once(lambda call: call(), calls)


def refusals(results):
    return sorted(type(each).__name__ for each in results if isinstance(each, Exception))


def test_two_sends_write_one_mail(draft):
    results = together([lambda: send_quote(draft.code, on=TODAY)] * 2)
    assert refusals(results) == ["QuoteSettled"]
    assert QuoteMail.objects.count() == 1
    assert QuoteEvent.objects.filter(state="sent").count() == 1


def test_what_is_sent_is_what_was_seen_last(draft):
    results = together(
        [
            lambda: send_quote(draft.code, on=TODAY, mail=False),
            lambda: change_quote(draft.code, asked({"quantity": 7}), on=TODAY),
        ]
    )
    quote = Quote.objects.get()
    lines = [line.quantity for line in quote.lines.all()]
    assert quote.state == "sent"
    assert lines == ([48] if refusals(results) else [7])
    assert [row["quantity"] for row in quote.paper["lines"]] == [str(lines[0])]


def test_one_answer_wins(draft):
    quote = send_quote(draft.code, on=TODAY, mail=False)

    def accept():
        with transaction.atomic():
            return mark_accepted(quote, on=TODAY)

    results = together(
        [accept, lambda: decline_quote(quote.code), lambda: expire_quotes(on=NEXT)] * 2
    )
    quote.refresh_from_db()
    answers = QuoteEvent.objects.exclude(state__in=["draft", "sent"])
    assert [event.state for event in answers] == [quote.state]
    assert len(refusals(results)) >= 3


def test_a_quote_takes_as_many_queries_for_any_lines(database):
    a_shop()
    today = timezone.localdate()

    def queries(lines):
        with CaptureQueriesContext(connection) as seen:
            a_draft(*[{"quantity": 5}] * lines, on=today)
        return len(seen)

    queries(1)  # the first code of a prefix takes one more
    assert queries(2) == queries(20)
