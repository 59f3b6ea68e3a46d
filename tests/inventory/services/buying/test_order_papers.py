"""Orders on paper, as a table and by mail; what comes of them, and at which price."""

import csv
import io
from datetime import UTC, datetime, timedelta

import pytest
from django.core import mail

from inventory.domain.receiving.landed_cost import Charge, ChargeKind
from inventory.errors import MaterialRefusal
from inventory.models.buying.orders import OrderMail, PurchaseOrder
from inventory.queries.stock.on_order import find_order, on_order
from inventory.services.buying.order_papers import (
    TEMPLATE,
    order_pdf,
    order_table,
    order_values,
    send_order,
    send_order_mails,
)
from inventory.services.buying.orders import Ordered, OrderedLine, draft_order
from inventory.services.receiving.against_orders import Arrived, OrderArrival, receive_order
from studio.foundation.errors import NotFound, StateConflict
from studio.foundation.paper.rendering import render_pdf
from tests.inventory.buying import POUND_NG, a_supplier, an_offer, an_oil, boxes, faults_of
from tests.inventory.making import TODAY, make_lot
from tests.studio.foundation.paper.reading import sizes_of, text_of, words_outside

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
State = PurchaseOrder.State


@pytest.fixture
def order(database):
    supplier = a_supplier("hill", email="orders@hill.example", lead_time_days=5)
    oil = an_oil("olive", name="Olive oil")
    box = boxes("carton", name="=1+1 cartons")
    an_offer(supplier, oil, "35 lb", 900_000, code="hill-olive", supplier_item="OO-35")
    an_offer(supplier, box, "25 each", 125_000, code="hill-carton")
    return draft_order(
        Ordered(
            supplier="hill",
            ordered_on=TODAY,
            note="Ring twice.",
            lines=[
                OrderedLine(offer="hill-olive", packs=2),
                OrderedLine(offer="hill-carton", packs=3),
            ],
        )
    )


def arrive(order, *lines, **values):
    return receive_order(order.code, OrderArrival(received_on=TODAY, lines=lines, **values))


def lines_of(order):
    return list(find_order(order.code).lines.all())


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_the_paper_shows_every_line_inside_the_page(order, paper):
    values = {**order_values(find_order(order.code)), "code": ""}
    printed = render_pdf(TEMPLATE, values, paper=paper)
    text = text_of(printed)
    for wanted in (order.code, "Olive oil", "OO-35", "35 lb", "$180.00", "$217.50", "Ring twice."):
        assert wanted in text
    assert words_outside(printed) == [] and len(sizes_of(printed)) == 1


def test_the_table_is_read_back_and_runs_no_formula(order):
    written = order_table(find_order(order.code)).written("csv").decode()
    rows = list(csv.DictReader(io.StringIO(written.removeprefix("\N{ZERO WIDTH NO-BREAK SPACE}"))))
    assert [(row["offer"], row["packs"], row["price"]) for row in rows] == [
        ("hill-olive", "2", "180.00"),
        ("hill-carton", "3", "37.50"),
    ]
    assert rows[1]["material"] == "'=1+1 cartons"


def test_sending_places_the_order_and_mails_it_once_with_its_pdf(order):
    sent = send_order(order.code, on=TODAY + timedelta(days=1))
    assert (sent.state, sent.expected_on) == (State.PLACED, TODAY + timedelta(days=6))
    assert set(on_order().values()) == {70 * POUND_NG, 75}
    assert mail.outbox == []
    assert send_order_mails(now=NOW).sent == 1 and send_order_mails(now=NOW).sent == 0
    (message,) = mail.outbox
    assert message.to == ["orders@hill.example"] and order.code in message.subject
    assert "2 x 35 lb Olive oil (OO-35): $180.00" in message.body
    ((name, content, kind),) = message.attachments
    assert (name, kind) == (f"{order.code}.pdf", "application/pdf")
    assert "Olive oil" in text_of(content)
    with pytest.raises(StateConflict):
        send_order(order.code, on=TODAY)


def test_a_mail_that_fails_is_tried_again_when_its_claim_has_run_out(order, settings):
    send_order(order.code, on=TODAY)
    settings.EMAIL_BACKEND = "there.is.no.such.Backend"
    assert send_order_mails(now=NOW).failed == 1
    assert "there" in OrderMail.objects.get().trouble
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    assert send_order_mails(now=NOW + timedelta(minutes=1)).sent == 0
    assert send_order_mails(now=NOW + timedelta(minutes=16)).sent == 1
    kept = OrderMail.objects.get()
    assert (kept.attempts, kept.trouble, len(mail.outbox)) == (2, "", 1)


def test_sending_without_mail_and_what_cannot_be_sent(order):
    order.supplier.email = ""
    order.supplier.save()
    with pytest.raises(MaterialRefusal) as refused:
        send_order(order.code, on=TODAY)
    assert faults_of(refused) == {("no-address", "supplier.email")}
    order.refresh_from_db()
    assert (order.state, OrderMail.objects.count()) == (State.DRAFT, 0)
    assert send_order(order.code, on=TODAY, mail=False).state == State.PLACED
    with pytest.raises(StateConflict):
        send_order(order.code, on=TODAY, mail=False)
    with pytest.raises(NotFound):
        send_order("P-99999", on=TODAY)


def test_what_comes_is_booked_by_position_and_by_every_kind_of_scan(order):
    send_order(order.code, on=TODAY)
    lot = make_lot(lines_of(order)[0].material, 1)
    arrive(order, Arrived(position=1, packs=1))
    first, second = lines_of(order)
    assert (first.outstanding, second.outstanding) == (35 * POUND_NG, 75)
    scans = ("hill-carton", "carton", "OO-35")
    for scan in scans:
        arrive(order, Arrived(scan=scan, packs=1))
    assert find_order(order.code).state == State.PLACED
    delivery = arrive(order, Arrived(scan=lot.code, packs=1), Arrived(position=2, packs=2))
    first, second = lines_of(order)
    assert (first.over_delivered, second.over_delivered) == (35 * POUND_NG, 25)
    assert find_order(order.code).state == State.CLOSED and delivery.lines.count() == 2


def test_price_differences_are_told_by_line(order):
    send_order(order.code, on=TODAY)
    freight = Charge(kind=ChargeKind.FREIGHT, amount=60_000)
    arrive(
        order,
        Arrived(position=1, packs=1, price=950_000),
        Arrived(position=2, packs=3),
        charges=[freight],
    )
    first, second = lines_of(order)
    assert (first.billed, first.price_difference) == (950_000, 50_000)
    assert (second.billed, second.price_difference) == (375_000, 0)
    arrive(order, Arrived(position=1, packs=1, price=820_000))
    assert lines_of(order)[0].price_difference == -30_000


def test_every_wrong_line_is_told_and_nothing_comes_in(order):
    with pytest.raises(StateConflict):
        arrive(order, Arrived(position=1))
    send_order(order.code, on=TODAY)
    with pytest.raises(MaterialRefusal) as refused:
        arrive(
            order,
            Arrived(position=3),
            Arrived(scan="nothing"),
            Arrived(),
            Arrived(position=1, scan="OO-35"),
        )
    assert faults_of(refused) == {
        ("not-found", "lines.0.position"),
        ("not-found", "lines.1.scan"),
        ("name-one", "lines.2"),
        ("name-one", "lines.3"),
    }
    with pytest.raises(MaterialRefusal) as refused:
        arrive(order)
    assert faults_of(refused) == {("no-lines", "lines")}
    assert [line.received for line in lines_of(order)] == [0, 0]


def test_two_packs_of_one_material_are_told_apart_by_their_offers(order):
    supplier = order.supplier
    first = order.lines.get(position=1)
    an_offer(supplier, first.material, "1 lb", 30_000, code="hill-olive-small")
    other = draft_order(
        Ordered(
            supplier="hill",
            ordered_on=TODAY,
            lines=[
                OrderedLine(offer="hill-olive", packs=1),
                OrderedLine(offer="hill-olive-small", packs=1),
            ],
        )
    )
    send_order(other.code, on=TODAY)
    with pytest.raises(MaterialRefusal) as refused:
        arrive(other, Arrived(scan="olive"))
    assert faults_of(refused) == {("ambiguous", "lines.0.scan")}
    arrive(other, Arrived(scan="hill-olive-small"))
    assert [line.received for line in lines_of(other)] == [0, POUND_NG]


def test_a_long_order_is_set_on_several_pages(order):
    long = find_order(order.code)
    values = order_values(long)
    values["lines"] = [
        {**values["lines"][0], "position": str(n), "material": "Wild orange leaf " * 8}
        for n in range(1, 60)
    ]
    printed = render_pdf(TEMPLATE, {**values, "code": ""}, paper="a4")
    assert words_outside(printed) == [] and "59" in text_of(printed)
    assert order_pdf(long).startswith(b"%PDF")
