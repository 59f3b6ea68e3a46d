"""A quote is accepted: it becomes an order, as it was sent."""

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from costing.models.orders.sales import SalesOrder, SalesOrderLine
from costing.models.quotes.quotes import Quote, QuoteLine, QuoteState
from costing.services.orders.batches import TURN
from costing.services.orders.opening import Mode, Start, open_order
from costing.services.quotes.quotes import mark_accepted
from studio.foundation.errors import NotFound
from studio.work.turns import take_turn

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from django.contrib.auth.models import User


@transaction.atomic
def accept_quote(
    code: str,
    *,
    mode: Mode | str = Mode.ALL,
    parts: "Mapping[int, int] | None" = None,
    plan: bool = True,
    reference: str = "",
    by: "User | None" = None,
) -> SalesOrder:
    """Turn a sent quote into an order: every sum and line is copied as it was sent.

    Mode "all" holds all of its bars or refuses; "parts" holds stated bars of lines (position ->
    bars), or as many as are free, and batches are planned for the rest. Accepting again gives the
    order that is there. Raises NotFound, NotEnoughStock, OrderRefusal, and what the quote refuses
    when it was not sent or its day is over; then nothing is kept.
    """
    take_turn(TURN)
    quote = _locked(code)
    if quote.state == QuoteState.ACCEPTED:
        return SalesOrder.objects.select_related("customer__tier").get(quote=quote)
    mark_accepted(quote, by=by)
    rows = list(quote.lines.order_by("position"))
    start = Start(mode=Mode(mode), parts=parts, plan=plan)
    order = _order_of(quote, rows, reference=reference.strip())
    return open_order(order, [_line_of(row) for row in rows], start, by=by)


def _order_of(quote: Quote, rows: "Sequence[QuoteLine]", *, reference: str) -> SalesOrder:
    """Due on the last day that was promised, or on which it is wanted if that is later."""
    today = timezone.localdate()
    promised = [row.promised_on for row in rows if row.promised_on is not None]
    return SalesOrder(
        customer=quote.customer,
        quote=quote,
        ordered_on=today,
        due_on=max([*promised, quote.wanted_on or today, today]),
        reference=reference,
        freight=quote.freight,
        tax_share=quote.tax_share,
        tax_included=quote.tax_included,
        goods=quote.goods,
        tax=quote.tax,
        total=quote.total,
        terms_days=quote.customer.terms_days,
        terms=quote.terms,
    )


def _line_of(row: QuoteLine) -> SalesOrderLine:
    return SalesOrderLine(
        position=row.position,
        product_id=row.product_id,
        quantity=row.quantity,
        bars_per_carton=row.bars_per_carton,
        price=row.price,
        amount=row.amount,
        promised_on=row.promised_on,
    )


def _locked(code: str) -> Quote:
    quotes = Quote.objects.select_for_update(of=("self",)).select_related("customer__tier")
    try:
        return quotes.get(code=code)
    except Quote.DoesNotExist:
        raise NotFound(f"There is no quote {code}.", field="quote") from None
