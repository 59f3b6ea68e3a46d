"""A shop asks for bars: the quote with its letter, the order, the missing batch, a first shipment.

As in the rest of the walk, a step that was done in an earlier walk is only shown.
"""

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from django.conf import settings

from costing.domain.profit.profit import By
from costing.models.orders.sales import SalesOrder
from costing.models.quotes.quotes import Quote
from costing.queries.orders.sales import find_order, held_of
from costing.queries.profit.profit import profit_by
from costing.queries.quotes.quotes import find_quote, margins_of
from costing.services.orders.opening import accept_quote
from costing.services.orders.shipping import ToLeave, ship_order
from costing.services.quotes.drafts import LineDescription, QuoteDescription, draft_quote
from costing.services.quotes.letter import letter_pdf
from costing.services.quotes.quotes import send_quote
from studio.foundation.errors import NotFound
from studio.foundation.money import parse_money
from studio.foundation.paper.rendering import usual_paper
from studio.management.demo.alerts import WAIT_SECONDS, show_low_stock
from studio.management.demo.recall import PAPERS
from studio.management.demo.scenario import read
from studio.management.demo.tables import Printer, money, percent
from studio.work.serving import Service

QUOTE, ORDER = "Q-00001", "SO-00001"


def quote_bars(printer: Printer, service: Service, today: date) -> bool:
    """Draft and send the quote with its letter; false if its mail did not go out in time."""
    asked = read("demo/selling")["quote"][0]
    bars = sum(line["quantity"] for line in asked["lines"])
    printer.step(
        f"A shop asks for {bars} bars",
        "Prices by tier and quantity, margins on both costs, and per line the day that stock, "
        "curing bars, planned batches, the shelf and the molds allow.",
    )
    if _found_quote() is None:
        draft_quote(_described(asked), on=today)
        send_quote(QUOTE, on=today)
    quote = find_quote(QUOTE)
    _show_quote(printer, quote)
    printer.say(f"The letter: {_letter(quote)}")
    sent = service.wait_for(_mailed, seconds=WAIT_SECONDS)
    if sent:
        printer.say(f"Mailed to {quote.customer.email} with the letter attached.", style="bold")
    return sent


def accept_and_plan(printer: Printer, service: Service) -> bool:
    """Accept the quote: hold what is free, plan what is missing; false if no worker looked."""
    printer.step(
        "The shop accepts",
        "Bars that are there are held, oldest cure first; what is missing is planned as a batch, "
        "so the shelf projects what that needs.",
    )
    accept_quote(QUOTE, mode="parts")
    _show_order(printer, find_order(ORDER))
    return show_low_stock(printer, service)


def ship_and_count(printer: Printer) -> None:
    """Ship a first part, and tell what it brought."""
    printer.step(
        "A first shipment, and what it brought",
        "Revenue and the cost of the very bars that left, by the ledger; packing and fees are "
        "costs of selling.",
    )
    order = find_order(ORDER)
    if not order.shipments.all():
        first: Mapping[str, int] = read("demo/selling")["quote"][0]["ships_first"]
        bars = {
            line.position: first[line.product.code]
            for line in order.lines.all()
            if line.product.code in first
        }
        sale = ship_order(ORDER, ToLeave(bars=bars))
        printer.say(f"{sum(bars.values())} bars left in {sale.cartons} cartons.")
    profit = profit_by([By.PRODUCT])
    printer.table(
        ["Product", ">Bars", ">Revenue", ">Cost of goods", ">Margin", ">Share", ">Packing, fees"],
        (
            (
                profit.names.get((By.PRODUCT, group[0]), group[0]),
                str(figures.bars),
                money(figures.revenue),
                money(figures.cost_at_least),
                money(figures.margin_at_most),
                "-" if figures.gross_share is None else percent(figures.gross_share),
                money(figures.selling_at_least),
            )
            for group, figures in profit.groups.items()
        ),
    )


def _found_quote() -> Quote | None:
    try:
        return find_quote(QUOTE)
    except NotFound:
        return None


def _described(asked: Mapping[str, Any]) -> QuoteDescription:
    return QuoteDescription(
        customer=asked["customer"],
        lines=[LineDescription(**line) for line in asked["lines"]],
        freight=parse_money(asked["freight"]),
        note="Invented for the demonstration.",
    )


def _mailed() -> bool:
    return all(mail.sent_at is not None for mail in find_quote(QUOTE).mails.all())


def _letter(quote: Quote) -> Path:
    folder: Path = settings.VAR_DIR / PAPERS
    folder.mkdir(exist_ok=True)
    file = folder / "quote.pdf"
    file.write_bytes(letter_pdf(quote, paper=usual_paper()))
    return file


def _show_quote(printer: Printer, quote: Quote) -> None:
    rows = []
    for line in quote.lines.all():
        actual, replacement = margins_of(quote, line)
        rows.append(
            (
                line.product.name,
                str(line.quantity),
                money(line.price),
                money(line.amount),
                "-" if actual is None else percent(actual),
                "-" if replacement is None else percent(replacement),
                str(line.promised_on or "-"),
            )
        )
    printer.table(
        ["Product", ">Bars", ">Price", ">Amount", ">Margin, stock", ">Made anew", "Ready on"],
        rows,
        title=f"{quote.code} for {quote.customer.name}, valid until {quote.valid_until}",
    )
    printer.say(
        f"Goods {money(quote.goods)}, freight {money(quote.freight)}: {money(quote.total)} in all."
    )


def _show_order(printer: Printer, order: SalesOrder) -> None:
    printer.table(
        ["Product", ">Ordered", ">Held", "Made for it"],
        (
            (
                line.product.name,
                str(line.quantity),
                str(held_of(line) + line.shipped),
                ", ".join(
                    f"{link.bars} of {link.batch.code}, {link.batch.planned_on}"
                    + (" (new)" if link.planned_here else "")
                    for link in line.batches.all()
                ),
            )
            for line in order.lines.all()
        ),
        title=f"{order.code}, due on {order.due_on}",
    )
