"""Quotes by mail: written with the sending, mailed afterwards with the letter attached."""

from datetime import datetime

from django.core.mail import EmailMessage
from django.template.loader import render_to_string

from costing.errors import QuoteRefusal
from costing.models.quotes.quotes import Quote, QuoteMail
from costing.services.quotes.letter import letter_pdf
from studio.foundation.paper.rendering import paper_named, usual_paper
from studio.work.mails import MailsSent, message_id, one_line, send_all
from studio.work.waking import wake

TEMPLATE = "costing/quotes/mail.txt"
TASK = "costing.tasks.send_quote_mails"
A4, LETTER = "a4", "letter"


def write_mail(quote: Quote, *, size: str = "") -> QuoteMail:
    """Write the mail of a quote whose letter is kept; it goes out once all is committed.

    Raises QuoteRefusal when the customer has no address, InvalidInput for an unknown size,
    PaperRefusal when the letter cannot be set.
    """
    if not quote.customer.email:
        raise QuoteRefusal(
            f"{quote.customer.name} has no e-mail address: add one, or send without mail.",
            field="customer.email",
        )
    paper = paper_named(size) if size else usual_paper()
    # Set once before it is kept, so that what cannot be printed is refused now, not in a worker.
    letter_pdf(quote, paper=paper)
    mail = QuoteMail.objects.create(
        quote=quote,
        to=quote.customer.email,
        subject=one_line(f"{quote.paper['studio']}: quote {quote.code}"),
        body=render_to_string(TEMPLATE, quote.paper),
        size=A4 if paper == A4 else LETTER,
    )
    wake(TASK)
    return mail


def send_quote_mails(*, now: datetime) -> MailsSent:
    """Send what was written and not yet sent, at least once; see `studio.work.mails`."""
    return send_all(QuoteMail.objects.select_related("quote"), _message, now=now)


def _message(mail: QuoteMail) -> EmailMessage:
    message = EmailMessage(
        subject=mail.subject,
        body=mail.body,
        to=[mail.to],
        headers={"Message-ID": message_id("quote", mail)},
    )
    letter = letter_pdf(mail.quote, paper=paper_named(mail.size))
    message.attach(f"{mail.quote.code}.pdf", letter, "application/pdf")
    return message
