"""A quote under lock, its state moved on, and its history."""

from costing.errors import QuoteSettled
from costing.models.quotes.quotes import Quote, QuoteEvent, QuoteLine, QuoteState
from studio.foundation.doers import By
from studio.foundation.errors import NotFound

LONGEST_NOTE = 400


def lock_quote(code: str) -> Quote:
    """The quote with this code, locked until the transaction ends, its customer and tier at hand.

    Raises NotFound.
    """
    quote = (
        Quote.objects.select_for_update(of=("self",))
        .select_related("customer__tier")
        .filter(code=code)
        .first()
    )
    if quote is None:
        raise NotFound(f"There is no quote {code}.", field="quote")
    return quote


def lines_of(quote: Quote) -> list[QuoteLine]:
    """The quote's lines in their order, with product and tier. One query."""
    return list(quote.lines.select_related("product__formula", "tier").order_by("position"))


def expect(quote: Quote, *states: QuoteState, doing: str) -> None:
    """Refuse what the quote's state does not allow. Raises QuoteSettled."""
    if quote.state not in states:
        wanted = " or ".join(state.value for state in states)
        raise QuoteSettled(
            f"Quote {quote.code} is {quote.state}; only one that is {wanted} can be {doing}.",
            field="quote",
            details={"state": str(quote.state)},
        )


def move_on(quote: Quote, state: QuoteState, *, by: By = None, note: str = "") -> QuoteEvent:
    """Give a locked quote its next state, and its history an event. Two queries."""
    quote.state = state
    quote.revision += 1
    quote.save(update_fields=["state", "revision", "updated_at"])
    return tell(quote, by=by, note=note)


def tell(quote: Quote, *, by: By = None, note: str = "") -> QuoteEvent:
    """Add to the quote's history what happened, under the state it now has. One query."""
    return QuoteEvent.objects.create(
        quote=quote, state=quote.state, note=note[:LONGEST_NOTE], by=by
    )
