"""An order comes to be: its rows, the bars it holds at once, the batches that make the rest."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from costing.models.orders.sales import SalesOrder, SalesOrderLine
from costing.models.quotes.quotes import Quote, QuoteLine, QuoteState
from costing.services.orders.batches import TURN, plan_for
from costing.services.orders.holds import hold_bars
from costing.services.orders.rows import lines_of, note, tell_shelf
from costing.services.quotes.quotes import mark_accepted
from studio.foundation.doers import By
from studio.foundation.errors import NotFound
from studio.work.leases import take_turn
from studio.work.numbering import next_code

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


class Mode(StrEnum):
    """How bars are held when an order is opened."""

    ALL = "all"  # all of them, or the order is refused
    PARTS = "parts"  # stated bars of lines, or as many as are free; batches make the rest


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """What happens as an order is opened.

    `parts` are the bars to hold now, by position, for Mode.PARTS (None: as many as are free). With
    `plan` batches are planned for what is missing.
    """

    mode: Mode = Mode.ALL
    parts: Mapping[int, int] | None = None
    plan: bool = True


def open_order(
    order: SalesOrder,
    lines: "Sequence[SalesOrderLine]",
    start: Start,
    *,
    by: By,
    told: str = "",
) -> SalesOrder:
    """Save an order with its lines, hold its bars and plan what is missing.

    `told` is what its history says of how it came.
    In the turn of those who plan. Raises NotEnoughStock in mode "all", OrderRefusal for parts that
    cannot be, and what keeps a batch from being planned.
    """
    order.code = next_code("SO")
    order.by = by
    order.save()
    for position, line in enumerate(lines, 1):
        line.order = order
        line.position = line.position or position
    SalesOrderLine.objects.bulk_create(lines)
    note(order, "ordered", told, by=by)
    tell_shelf(order)
    open_lines = lines_of(order)
    parts = start.parts
    if start.mode is Mode.ALL:
        parts = {place: line.row.quantity for place, line in open_lines.items()}
    hold_bars(order, open_lines, parts, by=by)
    if start.plan:
        plan_for(order, by=by)
    return order


@transaction.atomic
def accept_quote(
    code: str,
    *,
    mode: Mode | str = Mode.ALL,
    parts: "Mapping[int, int] | None" = None,
    plan: bool = True,
    reference: str = "",
    by: By = None,
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
    lines = [_line_of(row) for row in rows]
    return open_order(order, lines, start, by=by, told=f"From quote {quote.code}.")


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
