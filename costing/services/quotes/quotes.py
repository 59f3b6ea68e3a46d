"""Quotes to customers: drafted, sent once, answered once, expired by the schedule."""

from collections.abc import Sequence
from datetime import date

from django.db import transaction
from django.utils import timezone

from costing.errors import (
    QuoteExpired,
    QuoteRefusal,
    QuoteSettled,
    QuoteUnderFloor,
)
from costing.models.quotes.quotes import Quote, QuoteLine, QuoteState
from costing.queries.quotes.quotes import expired_by, offered_of
from costing.services.prices.floor_word import keep_to_floors
from costing.services.quotes.drafts import (
    LineDescription,
    QuoteDescription,
    change_quote,
    draft_quote,
    recalculate,
    revise_quote,
    save_worked_out,
)
from costing.services.quotes.history import expect, lines_of, lock_quote, move_on
from costing.services.quotes.letter import letter_values, write_mail
from costing.services.quotes.lines import work_out
from studio.foundation.doers import By

__all__ = [
    "LineDescription",
    "QuoteDescription",
    "change_quote",
    "decline_quote",
    "draft_quote",
    "expire_quotes",
    "mark_accepted",
    "recalculate",
    "revise_quote",
    "send_quote",
]


@transaction.atomic
def send_quote(
    code: str,
    *,
    on: date,
    by: By = None,
    mail: bool = True,
    size: str = "",
    override_reason: str = "",
) -> Quote:
    """Send a draft: its prices stand as they were seen, its costs and dates are those of the day.

    From then on it is frozen with its letter. With `mail` the letter goes to the customer, on
    paper of `size` ("a4" or "letter"; without it the studio's usual), after all is committed. One
    that it replaces is declined. Raises QuoteSettled unless a draft, QuoteExpired when its last
    day is over, QuoteUnderFloor naming every line under its floor, or whose floor is not known,
    unless an owner gives a reason (OverrideNotAllowed for others), QuoteRefusal without an address
    to mail to.
    """
    quote = lock_quote(code)
    expect(quote, QuoteState.DRAFT, doing="sent")
    if quote.valid_until < on:
        raise QuoteExpired(
            f"Quote {code} would be valid until {quote.valid_until} only: choose a later day.",
            field="valid_until",
        )
    lines = lines_of(quote)
    if not lines:
        raise QuoteRefusal("There is nothing to quote: add lines.", field="lines")
    quote.quoted_on = on
    work_out(quote, lines, on=on, keep_prices=True)
    told = _under_floor(quote, lines, by=by, reason=override_reason.strip())
    save_worked_out(lines)
    _replace(quote, by=by)
    quote.paper = letter_values(quote, lines)
    quote.save()
    move_on(quote, QuoteState.SENT, by=by, note=told)
    if mail:
        write_mail(quote, size=size)
    return quote


@transaction.atomic
def decline_quote(code: str, *, by: By = None, reason: str = "") -> Quote:
    """The customer does not want it. Raises NotFound, QuoteSettled unless it was sent."""
    quote = lock_quote(code)
    expect(quote, QuoteState.SENT, doing="declined")
    move_on(quote, QuoteState.DECLINED, by=by, note=reason)
    return quote


def expire_quotes(*, on: date) -> int:
    """Mark sent quotes whose last day is over as expired; how many.

    Each in a transaction of its own; one that is answered meanwhile stays as answered.
    """
    return sum(_expire(pk, on=on) for pk in expired_by(on))


def mark_accepted(quote: Quote, *, by: By = None, note: str = "", on: date | None = None) -> Quote:
    """Mark a sent quote as accepted on a day (today, unless given); the locked row.

    For the service that makes an order of it, in its transaction. Raises QuoteSettled unless it
    was sent, QuoteExpired when its last day is over: then it is never accepted.
    """
    locked = lock_quote(quote.code)
    if locked.state == QuoteState.EXPIRED:
        raise QuoteExpired(_over(locked), field="quote")
    expect(locked, QuoteState.SENT, doing="accepted")
    if locked.valid_until < (on or timezone.localdate()):
        raise QuoteExpired(_over(locked), field="quote")
    move_on(locked, QuoteState.ACCEPTED, by=by, note=note)
    return locked


def _over(quote: Quote) -> str:
    return (
        f"Quote {quote.code} was valid until {quote.valid_until}. Revise it and send the new one."
    )


@transaction.atomic
def _expire(pk: int, *, on: date) -> int:
    quote = Quote.objects.select_for_update().get(pk=pk)
    if quote.state != QuoteState.SENT or quote.valid_until >= on:
        return 0
    move_on(quote, QuoteState.EXPIRED, note=f"It was valid until {quote.valid_until}.")
    return 1


def _replace(quote: Quote, *, by: By) -> None:
    """A quote that this one replaces is no longer open."""
    if quote.replaces_id is None:
        return
    old = Quote.objects.select_for_update().get(pk=quote.replaces_id)
    if old.state == QuoteState.ACCEPTED:
        raise QuoteSettled(
            f"Quote {old.code}, which this one replaces, was accepted meanwhile.", field="quote"
        )
    if old.state == QuoteState.SENT:
        move_on(old, QuoteState.DECLINED, by=by, note=f"Replaced by {quote.code}.")


def _under_floor(quote: Quote, lines: Sequence[QuoteLine], *, by: By, reason: str) -> str:
    """Refuse prices that do not keep to their floors, or keep the owner's reason; what the history
    says of it."""
    quote.override_reason, quote.override_by = "", None
    offered = [offered_of(quote, line) for line in lines]
    told = keep_to_floors(offered, by=by, reason=reason, refusal=QuoteUnderFloor, field="price")
    if told:
        quote.override_reason, quote.override_by = reason, by
    return told
