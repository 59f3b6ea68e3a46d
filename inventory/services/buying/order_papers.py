"""Purchase orders for the supplier: on paper, as a table for a spreadsheet, and by mail."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import transaction
from django.template.loader import render_to_string

from inventory.domain.catalog.packs import friendly_amount
from inventory.errors import MaterialRefusal
from inventory.models.buying.orders import OrderMail, PurchaseOrder, PurchaseOrderLine
from inventory.queries.stock.on_order import find_order
from inventory.services.buying.orders import place_draft
from studio.foundation.errors import Faults, StateConflict
from studio.foundation.local_words import exact_money
from studio.foundation.money import amount_text
from studio.foundation.paper.rendering import render_pdf, usual_paper
from studio.foundation.tables.saved import SavedTable
from studio.work.mails import MailsSent, message_id, one_line, send_all
from studio.work.waking import wake

if TYPE_CHECKING:
    from collections.abc import Mapping

TEMPLATE = Path(__file__).resolve().parents[2] / "paper" / "order.typ"
LETTER = "inventory/buying/order_mail.txt"
TASK = "inventory.tasks.send_order_mails"
COLUMNS = ("order", "position", "item", "offer", "material", "pack", "packs", "price", "currency")


@dataclass(frozen=True, slots=True, kw_only=True)
class Letter:
    """An order's mail; `to` is empty when the supplier has no address."""

    to: str
    subject: str
    body: str


def letter_of(order: PurchaseOrder) -> Letter:
    """The mail of an order as it stands."""
    subject = f"{settings.STUDIO_NAME}: order {order.code}"
    return Letter(
        to=order.supplier.email,
        subject=one_line(subject),
        body=render_to_string(LETTER, {"studio": settings.STUDIO_NAME, **order_values(order)}),
    )


def letter_if_placed(order: PurchaseOrder, *, on: date) -> Letter:
    """The mail that an order would be sent with on a day; nothing is kept. No query.

    A draft gets the dates that it would be placed with.
    """
    if order.state == PurchaseOrder.State.DRAFT:
        days = []
        for line in order.lines.all():
            line.offer.supplier = order.supplier
            days.append(line.offer.days_to_come)
        order.ordered_on = on
        order.expected_on = on + timedelta(days=max(days))
    return letter_of(order)


@transaction.atomic
def send_order(code: str, *, on: date, mail: bool = True) -> PurchaseOrder:
    """Place a draft, or take an order that was placed without mail, and write the supplier's mail.

    The mail is kept with the order and sent when both are committed. Without `mail` the order is
    only placed. Raises NotFound; StateConflict when it was mailed before, has ended, or has nothing
    to send; MaterialRefusal when the supplier has no address or the draft cannot be placed.
    """
    order = find_order(code)
    if order.state == PurchaseOrder.State.DRAFT:
        place_draft(code, on=on)
        order = find_order(code)
    elif order.state != PurchaseOrder.State.PLACED:
        raise StateConflict(f"Order {code} is {order.state}; it is not sent any more.")
    elif not mail or order.mails.exists():
        raise StateConflict(f"Order {code} was sent already.")
    if mail:
        _write_mail(order)
    return order


def order_values(order: PurchaseOrder) -> dict[str, Any]:
    """What the paper shows of an order, all as text. Its lines are read with their offers."""
    lines = list(order.lines.all())
    return {
        "order": order.code,
        "supplier": order.supplier.name,
        "contact": [each for each in (order.supplier.email, order.supplier.phone) if each],
        "facts": [
            ["Ordered on", f"{order.ordered_on}"],
            ["Expected by", f"{order.expected_on}"],
            # A supplier need not be told that what he was sent was sent.
            *([] if order.state == PurchaseOrder.State.PLACED else [["State", order.state]]),
        ],
        "lines": [_line_values(line) for line in lines],
        "total": exact_money(sum(line.price for line in lines)),
        "note": order.note,
    }


def order_pdf(order: PurchaseOrder) -> bytes:
    """The order on the studio's usual paper. Raises PaperRefusal."""
    return render_pdf(TEMPLATE, order_values(order), paper=usual_paper())


def order_table(order: PurchaseOrder) -> SavedTable:
    """The order as a table for a spreadsheet, a row for each line."""
    currency = settings.STUDIO_CURRENCY
    rows = [
        (
            order.code,
            str(line.position),
            line.offer.supplier_item,
            line.offer.code,
            line.material.name,
            line.offer.pack_written,
            str(line.packs),
            amount_text(line.price, currency=currency),
            currency,
        )
        for line in order.lines.all()
    ]
    return SavedTable(name=order.code, heads=COLUMNS, rows=rows)


def send_order_mails(*, now: datetime) -> MailsSent:
    """Send what was written and not yet sent, at least once; see `studio.work.mails`."""
    return send_all(OrderMail.objects.select_related("order"), _message, now=now)


def _write_mail(order: PurchaseOrder) -> OrderMail:
    faults = Faults()
    if not order.supplier.email:
        faults.add("no-address", f"{order.supplier.name} has no e-mail address.", "supplier.email")
    faults.raise_if_any(MaterialRefusal)
    # Set once before it is kept, so that what cannot be printed is refused now, not in a worker.
    order_pdf(order)
    letter = letter_of(order)
    mail = OrderMail.objects.create(
        order=order, to=letter.to, subject=letter.subject, body=letter.body
    )
    wake(TASK)
    return mail


def _message(mail: OrderMail) -> EmailMessage:
    message = EmailMessage(
        subject=mail.subject,
        body=mail.body,
        to=[mail.to],
        headers={"Message-ID": message_id("order", mail)},
    )
    order = find_order(mail.order.code)
    message.attach(f"{order.code}.pdf", order_pdf(order), "application/pdf")
    return message


def _line_values(line: PurchaseOrderLine) -> "Mapping[str, str]":
    return {
        "position": str(line.position),
        "item": line.offer.supplier_item or line.offer.code,
        "material": line.material.name,
        "pack": line.offer.pack_written,
        "packs": str(line.packs),
        "amount": friendly_amount(line.amount, counted=line.material.counted),
        "price": exact_money(line.price),
    }
