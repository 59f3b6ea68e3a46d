"""Orders from the customer's word to the last bar: held, planned, shipped, taken back, closed."""

from datetime import timedelta

import pytest
from django.utils import timezone

from costing.errors import OrderClosed, OrderNotHeld, OrderRefusal, PackagingShort
from costing.models.orders.sales import SalesOrder, SalesOrderBatch, SalesOrderHold
from costing.services.orders.batches import plan_missing
from costing.services.orders.holds import cancel_rest, reserve_line, unreserve_line
from costing.services.orders.opening import Mode
from costing.services.orders.proof import prove_sales
from costing.services.orders.returns import SentBack, return_bars
from costing.services.orders.shipping import ToLeave, ship_order
from inventory.errors import LotNotUsable, NotEnoughStock
from inventory.models.buying.requirements import Requirement
from inventory.models.shipping.shipments import Shipment
from inventory.models.stock.ledger import StockEntry
from inventory.queries.stock.positions import stock_positions
from inventory.services.shipping.returns import Returning, return_shipment
from inventory.services.stock.hold_verbs import hold_lot, release_lot
from inventory.services.stock.proof import prove_books
from inventory.services.stock.reservations import release
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.finishing import Cured, Cut, cure_batch, cut_batch
from studio.foundation.errors import NotFound
from tests.costing.sales_making import UNIT, make_shop
from tests.recipes.making import stock

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    made = make_shop()
    stock(made.bench)
    return made


def whats(order):
    return [event.what for event in order.events.all()]


def held(order):
    rows = SalesOrderHold.objects.filter(
        line__order=order, reservation__state="open", remaining__gt=0
    )
    return {(row.line.position, row.lot.code): row.remaining for row in rows}


def assert_all_is_proved():
    assert prove_books().holds
    assert prove_sales() == []


def made_and_cured(code):
    today = timezone.localdate()
    reserve_batch(code)
    pour_batch(code, Poured(on=today, minutes=10))
    cut_batch(code, Cut(on=today, bars_good=8))
    return cure_batch(code, Cured(on=today, early_reason="tested"))


def test_bars_that_have_cured_longest_are_held_first_line_by_line(shop):
    shop.cured(10, code="young", days=5)
    shop.cured(10, code="old", days=50)
    order = shop.order(12, 5, mode=Mode.ALL)
    assert held(order) == {(1, "old"): 10, (1, "young"): 2, (2, "young"): 5}
    assert whats(order) == ["ordered", "reserved"]
    requirement = Requirement.objects.get(holder=order.holder)
    assert (requirement.amount, requirement.due_on) == (17, order.due_on)
    assert_all_is_proved()


def test_all_or_nothing_keeps_no_order_when_bars_are_short(shop):
    shop.cured(10)
    with pytest.raises(NotEnoughStock, match="1 each short"):
        shop.order(6, 5, mode=Mode.ALL)
    assert not SalesOrder.objects.exists()
    assert not Requirement.objects.filter(holder__startswith="order:").exists()


def test_stated_parts_are_held_and_the_rest_is_seen_as_required(shop):
    shop.cured(20)
    order = shop.order(10, 10, parts={1: 4})
    assert list(held(order).values()) == [4]
    position = stock_positions(on=timezone.localdate(), materials=[shop.bar.pk])[shop.bar.pk]
    assert (position.reserved, position.planned, position.projected) == (4, 16, 0)
    with pytest.raises(OrderRefusal, match="misses 6"):
        reserve_line(order.code, {1: 7})
    reserve_line(order.code, {1: 6, 2: 1})
    assert sum(held(order).values()) == 11
    unreserve_line(order.code, {1: 10})
    assert sum(held(order).values()) == 1
    with pytest.raises(OrderRefusal, match="holds 1"):
        unreserve_line(order.code, {2: 2})
    with pytest.raises(NotFound):
        reserve_line(order.code, {3: 1})
    assert_all_is_proved()


def test_missing_batches_are_planned_once_and_their_materials_required(shop):
    shop.cured(3)
    order = shop.order(12, 7, plan=True)
    links = SalesOrderBatch.objects.filter(line__order=order)
    assert sum(link.bars for link in links) == 16
    assert {link.batch.bars_planned for link in links} == {8}
    assert links.values("batch").distinct().count() == 2  # sixteen missing bars, eight a batch
    olive = shop.bench.materials["olive"]
    assert Requirement.objects.filter(material=olive, holder__startswith="batch:").count() == 2
    plan_missing(order.code)
    plan_missing(order.code)
    assert SalesOrderBatch.objects.filter(line__order=order).count() == len(links)


def test_bars_to_spare_of_a_batch_under_way_are_linked_before_a_new_one_is_planned(shop):
    first = shop.order(5, plan=True)
    (batch,) = {link.batch for link in SalesOrderBatch.objects.filter(line__order=first)}
    second = shop.order(5, plan=True)
    links = SalesOrderBatch.objects.filter(line__order=second).order_by("id")
    assert [(link.batch == batch, link.bars, link.planned_here) for link in links] == [
        (True, 3, False),
        (False, 2, True),
    ]


def test_batches_are_planned_even_where_no_offer_brings_their_materials():
    shop = make_shop()  # nothing on the shelf, and nobody offers anything
    order = shop.order(9, plan=True)
    links = SalesOrderBatch.objects.filter(line__order=order)
    assert sorted(link.bars for link in links) == [1, 8]
    assert Requirement.objects.filter(material=shop.bench.materials["olive"]).exists()


def test_released_bars_go_to_the_orders_that_wait_oldest_first(shop):
    today = timezone.localdate()
    later = shop.order(6, plan=True)
    SalesOrder.objects.filter(pk=later.pk).update(ordered_on=today)
    sooner = shop.order(6, plan=False, ordered_on=today - timedelta(days=3))
    (batch,) = {link.batch for link in SalesOrderBatch.objects.filter(line__order=later)}
    SalesOrderBatch.objects.create(line=sooner.lines.get(), batch=batch, bars=6)
    made_and_cured(batch.code)
    assert sum(held(sooner).values()) == 6
    assert sum(held(later).values()) == 2
    assert whats(later)[-1] == "reserved"
    assert not SalesOrderBatch.objects.filter(batch=batch).exists()
    plan_missing(later.code)  # what the batch fell short of is missing again
    assert sum(link.bars for link in SalesOrderBatch.objects.filter(line__order=later)) == 4
    assert_all_is_proved()


def test_a_whole_order_ships_with_its_packaging_and_closes(shop):
    shop.packaging(pieces=100, cost=1000)
    shop.cured(30, 3000)
    order = shop.order(13, 12, mode=Mode.ALL, freight=9 * UNIT, reference="PO 7")
    sale = ship_order(order.code, ToLeave(cartons=3))
    order.refresh_from_db()
    assert (order.state, sale.cartons, sale.shipment.reference) == ("shipped", 3, "PO 7")
    gone = {lot.material.code: 100 - lot.on_hand for lot in packaging_lots()}
    assert gone == {"label": 25, "carton": 3, "tape": 6}
    # 10 a piece of what is packed with: a cost of selling, and none of it on the bars' cost
    assert sale.packing_cost == 34 * 10
    assert sum(line.cost for line in sale.lines.all()) == 2500
    assert sum(line.packing for line in sale.lines.all()) == sale.packing_cost
    assert not Requirement.objects.filter(holder=order.holder).exists()
    for late in (lambda: reserve_line(order.code), lambda: ship_order(order.code, ToLeave())):
        with pytest.raises(OrderClosed):
            late()
    assert_all_is_proved()


def packaging_lots():
    return [entry.lot for entry in StockEntry.objects.filter(note="packing", verb="consume")]


@pytest.mark.parametrize(("cartons", "fits"), [(1, False), (2, False), (3, True), (4, False)])
def test_cartons_must_be_able_to_hold_the_bars(shop, cartons, fits):
    shop.cured(30)
    order = shop.order(13, 12)
    leaving = ToLeave(cartons=cartons)
    if fits:
        assert ship_order(order.code, leaving).cartons == cartons
    else:
        with pytest.raises(OrderRefusal, match="13 at 12 a carton"):
            ship_order(order.code, leaving)


def test_short_packaging_refuses_with_words_or_is_left_out_on_request(shop):
    shop.packaging(pieces=0)
    shop.cured(12)
    order = shop.order(12)
    with pytest.raises(PackagingShort, match="without_packaging") as refused:
        ship_order(order.code, ToLeave())
    assert {fault.field for fault in refused.value.faults} == {
        "packaging.label", "packaging.carton", "packaging.tape",
    }  # fmt: skip
    assert not Shipment.objects.exists() and sum(held(order).values()) == 12
    assert ship_order(order.code, ToLeave(without_packaging=True)).packing_cost == 0
    assert_all_is_proved()


def test_only_what_is_held_leaves_and_never_more_than_ordered(shop):
    lot = shop.cured(10)
    order = shop.order(8, parts={1: 5})
    with pytest.raises(OrderNotHeld, match="5 are held"):
        ship_order(order.code, ToLeave())
    with pytest.raises(OrderRefusal, match="8 have not left"):
        ship_order(order.code, ToLeave(bars={1: 9}))
    with pytest.raises(OrderRefusal, match="Say what leaves"):
        ship_order(order.code, ToLeave(bars={1: 0}))
    yesterday = timezone.localdate() - timedelta(days=1)
    with pytest.raises(OrderRefusal, match="ordered on"):
        ship_order(order.code, ToLeave(bars={1: 5}, shipped_on=yesterday))
    hold_lot(lot.pk, reason="recalled")
    with pytest.raises(LotNotUsable, match="not released"):
        ship_order(order.code, ToLeave(bars={1: 5}))
    release_lot(lot.pk, reason="looked at")
    ship_order(order.code, ToLeave(bars={1: 5}))
    order.refresh_from_db()
    assert (order.state, order.lines.get().shipped) == ("open", 5)
    assert Requirement.objects.get(holder=order.holder).amount == 3


def test_a_hold_that_was_released_elsewhere_counts_as_missing_again(shop):
    shop.cured(10)
    order = shop.order(10)
    release(SalesOrderHold.objects.first().reservation_id)
    assert held(order) == {}
    with pytest.raises(OrderNotHeld):
        ship_order(order.code, ToLeave())
    reserve_line(order.code)
    assert sum(held(order).values()) == 10
    ship_order(order.code, ToLeave())
    assert_all_is_proved()


def test_returns_are_credited_through_the_order_or_the_shipment(shop):
    shop.cured(10, 1001, code="a", days=9)
    shop.cured(10, 2002, code="b")
    order = shop.order(8, 7)
    sale = ship_order(order.code, ToLeave())
    code = sale.shipment.code
    return_bars(order.code, SentBack(shipment=code, line=2, bars=3, reason="dented"))
    assert [line.returned for line in order.lines.all()] == [0, 3]
    # lot a is shared: 8 of line 1 and 2 of line 2; what is booked on the shipment goes in order
    today = timezone.localdate()
    return_shipment(code, Returning(returned_on=today, reason="wet", lots={"a": 5}))
    assert [line.returned for line in order.lines.all()] == [5, 3]
    with pytest.raises(OrderRefusal, match="4 of line 2 are still out"):
        return_bars(order.code, SentBack(shipment=code, line=2, bars=5, reason="dented"))
    with pytest.raises(OrderRefusal, match="of lot a"):
        lots = {"a": 1}
        back = SentBack(shipment=code, line=2, bars=1, reason="dented", lots=lots)
        return_bars(order.code, back)
    return_shipment(code, Returning(returned_on=today, reason="all of it"))
    lines = list(sale.lines.all())
    for line in lines:
        credits = list(line.credits.all())
        assert sum(credit.bars for credit in credits) == line.bars
        assert sum(credit.revenue for credit in credits) == line.revenue
    assert whats(order)[-3:] == ["returned"] * 3
    assert_all_is_proved()


def test_cancelling_the_rest_frees_bars_and_keeps_or_ends_its_batches(shop):
    shop.cured(4)
    order = shop.order(12, plan=True)
    other = shop.order(4, plan=True)
    (batch,) = {link.batch for link in SalesOrderBatch.objects.filter(line__order=order)}
    cancel_rest(other.code)  # its planned batch stays
    assert batch.state == "planned"
    ship_order(order.code, ToLeave(bars={1: 2}))
    cancel_rest(order.code, reason="shop closed", cancel_batches=True)
    batch.refresh_from_db()
    order.refresh_from_db()
    other.refresh_from_db()
    assert (order.state, other.state, batch.state) == ("shipped", "cancelled", "cancelled")
    assert held(order) == {}
    assert not Requirement.objects.filter(holder__startswith="order:").exists()
    assert "shop closed" in order.events.last().note
    with pytest.raises(OrderClosed):
        cancel_rest(order.code)


def test_a_batch_that_another_order_waits_for_is_not_called_off(shop):
    first = shop.order(5, plan=True)
    second = shop.order(2, plan=True)
    cancel_rest(first.code, cancel_batches=True)
    (link,) = SalesOrderBatch.objects.filter(line__order=second)
    assert link.batch.state == "planned"


def test_an_order_without_a_price_or_with_nonsense_is_refused_whole(shop):
    tomorrow = timezone.localdate() + timedelta(days=1)
    for values, words in (
        ({"due_on": timezone.localdate() - timedelta(days=1)}, "ordered on"),
        ({"ordered_on": tomorrow, "due_on": tomorrow}, "is dated today or earlier"),
        ({"freight": -1}, "Freight"),
    ):
        with pytest.raises(OrderRefusal, match=words):
            shop.order(5, **values)
    with pytest.raises(OrderRefusal, match="Order more than nothing"):
        shop.order(0)
    shop.tier.prices.all().delete()
    with pytest.raises(OrderRefusal, match="no price of Plain olive bar to Wholesale"):
        shop.order(5)
    assert not SalesOrder.objects.exists()
