"""Quotes by mail: one message with the letter, whatever fails on the way."""

from datetime import UTC, datetime, timedelta

import pytest
from django.core import mail
from django.utils import timezone

from costing.models.quotes.quotes import QuoteMail
from costing.services.quotes.letter import letter_pdf, send_quote_mails
from costing.services.quotes.quotes import send_quote
from studio.foundation.errors import InvalidInput
from tests.costing.services.quotes.test_quotes import a_draft, a_shop
from tests.inventory.making import TODAY
from tests.studio.foundation.paper.reading import sizes_of

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
A4, LETTER = (595, 842), (612, 792)


@pytest.fixture
def draft(database):
    a_shop()
    return a_draft()


def test_the_letter_goes_to_the_customer_once(draft):
    quote = send_quote(draft.code, on=TODAY, size="letter")
    assert mail.outbox == []
    assert send_quote_mails(now=NOW).sent == 1 and send_quote_mails(now=NOW).sent == 0
    (message,) = mail.outbox
    assert message.to == ["buyer@corner.example"]
    assert message.subject == f"Soap studio: quote {quote.code}"
    for words in ("48 x Plain olive bar, $18.00 a bar", "Total: $", "attached as PDF"):
        assert words in message.body
    ((name, content, kind),) = message.attachments
    assert (name, kind, sizes_of(content)) == (f"{quote.code}.pdf", "application/pdf", {LETTER})
    assert content == letter_pdf(quote, paper="us-letter")


@pytest.mark.parametrize(("locale", "size"), [("en_US", LETTER), ("de_DE", A4)])
def test_the_usual_paper_is_the_places(draft, settings, locale, size):
    settings.STUDIO_LOCALE = locale
    send_quote(draft.code, on=TODAY)
    send_quote_mails(now=NOW)
    ((_, content, _),) = mail.outbox[0].attachments
    assert sizes_of(content) == {size}


def test_one_that_fails_is_tried_again_under_the_same_id(draft, settings):
    send_quote(draft.code, on=TODAY)
    settings.EMAIL_BACKEND = "there.is.no.such.Backend"
    assert send_quote_mails(now=NOW).failed == 1
    assert "there" in QuoteMail.objects.get().trouble
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    assert send_quote_mails(now=NOW + timedelta(minutes=1)).sent == 0
    assert send_quote_mails(now=NOW + timedelta(minutes=16)).sent == 1
    kept = QuoteMail.objects.get()
    assert (kept.attempts, kept.trouble) == (2, "")
    QuoteMail.objects.update(sent_at=None)  # as if a worker had died before it marked it
    assert send_quote_mails(now=timezone.now()).sent == 1
    ids = {message.extra_headers["Message-ID"] for message in mail.outbox}
    assert len(mail.outbox) == 2 and len(ids) == 1


def test_an_unknown_paper_is_refused_before_anything_is_sent(draft):
    with pytest.raises(InvalidInput):
        send_quote(draft.code, on=TODAY, size="a5")
    draft.refresh_from_db()
    assert (draft.state, QuoteMail.objects.count()) == ("draft", 0)
