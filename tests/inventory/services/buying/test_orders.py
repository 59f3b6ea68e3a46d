"""Purchase orders, and what is on its way."""

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory.domain.catalog.certificate import Certificate
from inventory.errors import MaterialRefusal
from inventory.models.buying.orders import PurchaseOrder
from inventory.queries.stock.on_order import on_order
from inventory.services.buying.orders import (
    Ordered,
    OrderedLine,
    cancel_order,
    close_order,
    place_order,
)
from inventory.services.receiving.deliveries import receive_delivery
from inventory.services.receiving.received import OrderLineAt, Received, ReceivedLine
from studio.foundation.errors import NotFound, StateConflict
from tests.inventory.buying import (
    POUND_NG,
    a_supplier,
    an_offer,
    an_oil,
    an_order,
    boxes,
    faults_of,
)
from tests.inventory.making import TODAY
from tests.threads import at_once
from tests.waiting import eventually

State = PurchaseOrder.State


def bring(order, packs, *, position=1, **values):
    """Receive packs of the offer of one line of an order."""
    line = order.lines.get(position=position)
    return receive_delivery(
        Received(
            supplier=order.supplier.code,
            received_on=TODAY,
            lines=[
                ReceivedLine(
                    offer=line.offer.code,
                    packs=packs,
                    order_line=OrderLineAt(order=order.code, position=position),
                    **values,
                )
            ],
        )
    )


def test_an_order_takes_amounts_prices_and_the_slowest_lead_time_from_its_offers(database):
    supplier = a_supplier(lead_time_days=4)
    oil = an_offer(supplier, an_oil(), "35 lb", 900_000)
    box = an_offer(supplier, boxes(), "25 each", 120_000, lead_time_days=11)
    order = place_order(
        Ordered(
            supplier=supplier.code,
            ordered_on=TODAY,
            lines=[
                OrderedLine(offer=oil.code, packs=2),
                OrderedLine(offer=box.code, packs=3, price=300_000),
            ],
        )
    )
    assert order.expected_on == TODAY + timedelta(days=11)
    assert list(order.lines.values_list("position", "amount", "price")) == [
        (1, 70 * POUND_NG, 1_800_000),
        (2, 75, 300_000),
    ]
    assert on_order() == {oil.material_id: 70 * POUND_NG, box.material_id: 75}


def test_every_fault_of_an_order_is_told_at_once_and_none_is_placed(database):
    supplier, other = a_supplier(), a_supplier()
    fine = an_offer(supplier, an_oil(), "35 lb", minimum_packs=2)
    past = an_offer(supplier, an_oil(), "35 lb", valid_until=TODAY - timedelta(days=1))
    foreign = an_offer(other, an_oil(), "35 lb")
    packs = {fine.code: 1, past.code: 1, foreign.code: 0, "none": 1}
    lines = [OrderedLine(offer=code, packs=number) for code, number in packs.items()]
    with pytest.raises(MaterialRefusal) as refused:
        place_order(
            Ordered(
                supplier=supplier.code,
                ordered_on=TODAY,
                expected_on=TODAY - timedelta(days=1),
                lines=[*lines, OrderedLine(offer=fine.code, packs=2, price=-1)],
                note="x" * 2_001,
            )
        )
    assert faults_of(refused) == {
        ("too-few-packs", "lines.0.packs"),
        ("offer-not-current", "lines.1.offer"),
        ("other-supplier", "lines.2.offer"),
        ("packs-out-of-range", "lines.2.packs"),
        ("not-found", "lines.3.offer"),
        ("offer-twice", "lines.4.offer"),
        ("out-of-range", "lines.4.price"),
        ("dates-reversed", "expected_on"),
        ("max-length", "note"),
    }
    assert not PurchaseOrder.objects.exists()


def test_a_suppliers_minimum_order_and_an_inactive_supplier_are_kept_to(database):
    supplier, gone = a_supplier(minimum_order=2_000_000), a_supplier(active=False)
    offer = an_offer(supplier, an_oil(), "35 lb", 1_000_000)
    with pytest.raises(MaterialRefusal) as refused:
        an_order(offer, 1)
    assert faults_of(refused) == {("below-minimum-order", "lines")}
    assert an_order(offer, 2).state == State.PLACED
    with pytest.raises(MaterialRefusal) as refused:
        place_order(Ordered(supplier=gone.code, ordered_on=TODAY, lines=[]))
    assert faults_of(refused) == {("supplier-inactive", "supplier"), ("no-lines", "lines")}


@pytest.mark.parametrize("lines", [1, 12])
def test_placing_takes_the_same_queries_for_any_number_of_lines(db, lines):
    supplier = a_supplier()
    offers = [an_offer(supplier, an_oil(), "1 kg") for _ in range(lines)]
    wanted = [OrderedLine(offer=offer.code, packs=1) for offer in offers]
    an_order(offers[0], 1)
    with CaptureQueriesContext(connection) as captured:
        place_order(Ordered(supplier=supplier.code, ordered_on=TODAY, lines=wanted))
    made = [q["sql"] for q in captured if not q["sql"].startswith(("SAVEPOINT", "RELEASE"))]
    assert len(made) == 6


def test_an_order_closes_itself_when_all_is_in_and_shows_what_came_beyond(database):
    offer = an_offer(a_supplier(), an_oil(), "1 gal")
    order = an_order(offer, 3)
    bring(order, 1)
    order.refresh_from_db()
    assert (order.state, on_order()) == (State.PLACED, {offer.material_id: 2 * offer.pack_amount})
    bring(order, 3)
    order.refresh_from_db()
    line = order.lines.get()
    assert (order.state, order.revision, on_order()) == (State.CLOSED, 2, {})
    assert (line.outstanding, line.over_delivered) == (0, offer.pack_amount)


def test_a_lot_lighter_than_the_offer_said_still_fills_its_packs(database):
    offer = an_offer(a_supplier(), an_oil(), "1 gal", density_g_ml=Decimal("0.92"))
    order = an_order(offer, 2)
    delivery = bring(order, 2, certificate=Certificate(density_g_ml=Decimal("0.9")))
    order.refresh_from_db()
    assert delivery.lines.get().amount < 2 * offer.pack_amount
    assert order.state == State.CLOSED


def test_an_order_stays_open_while_one_line_is_open(database):
    supplier = a_supplier()
    offers = [an_offer(supplier, an_oil(), "1 kg") for _ in range(2)]
    order = place_order(
        Ordered(
            supplier=supplier.code,
            ordered_on=TODAY,
            lines=[OrderedLine(offer=offer.code, packs=1) for offer in offers],
        )
    )
    bring(order, 5, position=1)
    order.refresh_from_db()
    assert order.state == State.PLACED
    bring(order, 1, position=2)
    order.refresh_from_db()
    assert order.state == State.CLOSED


def test_closing_expects_no_more_and_cancelling_needs_that_nothing_came(database):
    offer = an_offer(a_supplier(), an_oil(), "1 kg")
    begun, unwanted = an_order(offer, 5), an_order(offer, 5)
    bring(begun, 1)
    with pytest.raises(StateConflict):
        cancel_order(begun.code)
    assert close_order(begun.code).state == State.CLOSED
    assert cancel_order(unwanted.code).state == State.CANCELLED
    assert on_order() == {}
    for end in (close_order, cancel_order):
        with pytest.raises(StateConflict):
            end(begun.code)
    with pytest.raises(NotFound):
        close_order("P-99999")
    with pytest.raises(MaterialRefusal) as refused:
        bring(unwanted, 1)
    assert faults_of(refused) == {("order-cancelled", "lines.0.order_line")}


def test_deliveries_at_once_are_all_booked_on_the_order(database):
    offer = an_offer(a_supplier(), an_oil(), "1 kg")
    order = an_order(offer, 6)
    results = at_once(lambda packs: bring(order, packs).code, [1, 2, 3])
    assert len(set(results)) == 3 and all(isinstance(code, str) for code in results)
    order.refresh_from_db()
    assert (order.lines.get().received, order.state) == (6 * offer.pack_amount, State.CLOSED)


def test_lines_that_come_in_at_once_close_their_order(database):
    supplier = a_supplier()
    offers = [an_offer(supplier, an_oil(), "1 kg") for _ in range(4)]
    lines = [OrderedLine(offer=offer.code, packs=1) for offer in offers]
    order = place_order(Ordered(supplier=supplier.code, ordered_on=TODAY, lines=lines))
    at_once(lambda position: bring(order, 1, position=position), [1, 2, 3, 4])
    order.refresh_from_db()
    assert (order.state, on_order()) == (State.CLOSED, {})


def somebody_waits_for_a_lock():
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM pg_locks WHERE NOT granted")
        return cursor.fetchone()[0] > 0


@pytest.mark.postgres
def test_a_delivery_waits_for_a_cancellation_under_way_and_is_refused(transactional_db):
    order = an_order(an_offer(a_supplier(), an_oil(), "1 kg"), 1)

    def bring_all():
        try:
            return bring(order, 1)
        finally:
            connection.close()

    with ThreadPoolExecutor(max_workers=1) as pool:
        with transaction.atomic():
            cancel_order(order.code)
            bringing = pool.submit(bring_all)
            eventually(
                lambda: bringing.done() or somebody_waits_for_a_lock(), what="the delivery waits"
            )
        with pytest.raises(MaterialRefusal) as refused:
            bringing.result()
    assert faults_of(refused) == {("order-cancelled", "lines.0.order_line")}
    order.refresh_from_db()
    assert (order.state, order.lines.get().received) == (State.CANCELLED, 0)


def test_an_order_is_placed_today_or_a_day_before(db):
    supplier = a_supplier()
    to_come = timezone.localdate() + timedelta(days=1)
    with pytest.raises(MaterialRefusal) as refused:
        place_order(Ordered(supplier=supplier.code, ordered_on=to_come, lines=[]))
    assert ("day-to-come", "ordered_on") in {(f.code, f.field) for f in refused.value.faults}
    assert not PurchaseOrder.objects.exists()
