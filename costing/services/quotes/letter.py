"""The letter of a quote: all that it shows, as text, kept with the quote when it is sent."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

from babel.dates import format_date
from babel.numbers import format_decimal
from django.conf import settings
from django.core.mail import EmailMessage
from django.template.loader import render_to_string

from costing.domain.quotes.quoting import carton_price, cartons, sums
from costing.errors import QuoteRefusal
from costing.models.quotes.quotes import Quote, QuoteLine, QuoteMail, QuoteState
from costing.queries.quotes.quotes import money_unit
from costing.services.quotes.history import lines_of
from studio.foundation.local_words import exact_money, written_percent
from studio.foundation.paper.rendering import Paper, paper_named, render_pdf, usual_paper
from studio.work.mails import MailsSent, message_id, one_line, send_all
from studio.work.waking import wake

TEMPLATE = Path(__file__).resolve().parents[2] / "paper" / "quote.typ"
HOLDS = (
    "Ready dates hold for an order by {until}, as long as the bars are not sold before; "
    "we reserve them for you when you accept."
)
MAIL_TEMPLATE = "costing/quotes/mail.txt"
TASK = "costing.tasks.send_quote_mails"
A4, LETTER = "a4", "letter"


def letter_pdf(quote: Quote, *, paper: Paper) -> bytes:
    """The letter as PDF: of a sent quote the one that was sent, byte for byte; of a draft, as it
    stands. Raises PaperRefusal."""
    return render_pdf(TEMPLATE, values_of(quote), paper=paper)


def values_of(quote: Quote) -> dict[str, Any]:
    """What the letter of a quote shows: as it was sent, or of a draft as it stands."""
    if quote.state != QuoteState.DRAFT:
        kept: dict[str, Any] = quote.paper
        return kept
    return letter_values(quote, lines_of(quote), draft=True)


def letter_values(
    quote: Quote, lines: Sequence[QuoteLine], *, draft: bool = False
) -> dict[str, Any]:
    """What the letter shows, from the quote with its customer and the lines with their products."""
    customer = quote.customer
    shown = sums([line.quantity * line.price for line in lines], unit=money_unit())
    gross = dict(zip([line.position for line in lines], shown.line_amounts, strict=True))
    until = shown_day(quote.valid_until)
    return {
        "studio": settings.STUDIO_NAME,
        "studio_address": [
            part for each in settings.STUDIO_ADDRESS.split(";") if (part := each.strip())
        ],
        "quote": quote.code,
        "heading": f"Quote {quote.code}{' (draft, not an offer yet)' if draft else ''}",
        "day": [quote.quoted_on.year, quote.quoted_on.month, quote.quoted_on.day],
        "date": shown_day(quote.quoted_on),
        "customer": customer.name,
        "to": _to(quote),
        "facts": _facts(quote, until),
        "salutation": f"Dear {customer.contact or customer.name},",
        "opening": "Thank you for asking. We are glad to offer you:",
        "lines": [_line(quote, line, gross[line.position]) for line in lines],
        "sums": _sums(quote, shown.goods),
        "total": ["Total", exact_money(quote.total)],
        "after_total": _about_tax(quote),
        "closing": [
            *(part for part in quote.note.splitlines() if part.strip()),
            quote.terms,
            HOLDS.format(until=until),
        ],
        "greeting": "Kind regards,",
    }


def shown_day(day: date) -> str:
    """A day as people of the studio's locale write it."""
    return format_date(day, format="long", locale=settings.STUDIO_LOCALE)


def _shown_count(count: int) -> str:
    return format_decimal(count, locale=settings.STUDIO_LOCALE)


def _to(quote: Quote) -> list[str]:
    customer = quote.customer
    address = [part for each in customer.address.splitlines() if (part := each.strip())]
    return [customer.name, *([customer.contact] if customer.contact else []), *address]


def _facts(quote: Quote, until: str) -> list[list[str]]:
    facts = [["Date", shown_day(quote.quoted_on)], ["Valid until", until]]
    if quote.wanted_on is not None:
        facts.append(["Wanted by", shown_day(quote.wanted_on)])
    if quote.replaces is not None:
        facts.append(["Replaces", f"Quote {quote.replaces.code}"])
    return facts


def _line(quote: Quote, line: QuoteLine, gross: int) -> Mapping[str, str]:
    return {
        "position": str(line.position),
        "product": line.product.name,
        "quantity": _shown_count(line.quantity),
        "price": exact_money(line.price),
        "bars_per_carton": _shown_count(line.bars_per_carton),
        "carton": exact_money(carton_price(line.price, line.bars_per_carton)),
        "gross": exact_money(gross),
        "ready": f"{_packed(line)}; {_ready(quote, line)}",
    }


def _packed(line: QuoteLine) -> str:
    """In cartons: "4 cartons", "3 cartons and 6 bars"."""
    full, left = cartons(line.quantity, line.bars_per_carton)
    parts = []
    if full:
        parts.append(f"{_shown_count(full)} carton{'' if full == 1 else 's'}")
    if left:
        parts.append(f"{_shown_count(left)} bar{'' if left == 1 else 's'}")
    return " and ".join(parts)


def _ready(quote: Quote, line: QuoteLine) -> str:
    """When the bars are there, in the customer's words."""
    there = sum(
        part["amount"]
        for part in line.promise.get("parts", ())
        if date.fromisoformat(part["ready_on"]) <= quote.quoted_on
    )
    if line.promised_on is None:
        return "date to be agreed"
    if there >= line.quantity:
        return "in stock"
    ready = shown_day(line.promised_on)
    return f"{_shown_count(there)} in stock, all ready {ready}" if there else f"ready {ready}"


def _sums(quote: Quote, gross: int) -> list[list[str]]:
    rows = [["Soap", exact_money(gross)]]
    if quote.goods != gross:
        percent = written_percent(quote.discount, 6)
        rows.append([f"Discount of {percent}", exact_money(quote.goods - gross)])
    if quote.freight:
        rows.append(["Freight", exact_money(quote.freight)])
    if quote.tax and not quote.tax_included:
        rows.append([f"Tax of {written_percent(quote.tax_share, 6)}", exact_money(quote.tax)])
    return rows if len(rows) > 1 else []


def _about_tax(quote: Quote) -> str:
    if quote.tax and quote.tax_included:
        share = written_percent(quote.tax_share, 6)
        return f"Tax of {share} is included: {exact_money(quote.tax)}."
    if quote.customer.tax_exempt and not quote.tax:
        return "No tax is charged, as you are on our books as exempt; check with your adviser."
    return ""


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
        body=render_to_string(MAIL_TEMPLATE, quote.paper),
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
