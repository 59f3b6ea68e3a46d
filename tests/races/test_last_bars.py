"""Two customers want the last bars at the same moment: one gets them, never both."""

from django.utils import timezone

from costing.models.orders.sales import SalesOrder, SalesOrderBatch
from costing.services.orders.batches import plan_missing
from costing.services.orders.holds import reserve_line
from costing.services.orders.opening import Mode, accept_quote
from costing.services.orders.proof import prove_sales
from costing.services.orders.shipping import ToLeave, ship_order
from costing.services.quotes.drafts import LineDescription, QuoteDescription, draft_quote
from costing.services.quotes.quotes import send_quote
from inventory.errors import NotEnoughStock
from inventory.models.stock.lots import Lot
from inventory.services.stock.proof import prove_books
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.finishing import Cured, Cut, cure_batch, cut_batch
from tests.costing.sales_making import make_shop
from tests.recipes.making import stock
from tests.threads import at_once


def sent_quote(shop, bars):
    shop.tier.prices.update(floor=100)  # what a bar costs is not the question here
    today = timezone.localdate()
    line = LineDescription(product=shop.product.code, quantity=bars, bars_per_carton=12)
    quote = draft_quote(QuoteDescription(customer=shop.customer.code, lines=[line]), on=today)
    return send_quote(quote.code, on=today, mail=False)


def assert_all_is_proved():
    assert prove_books().holds
    assert prove_sales() == []


def names(answers):
    return sorted(type(answer).__name__ for answer in answers)


def test_two_acceptances_for_the_last_bars_never_both_win(database):
    shop = make_shop()
    shop.cured(10)
    codes = [sent_quote(shop, 8).code for _ in range(4)]
    answers = at_once(lambda code: accept_quote(code, mode=Mode.ALL), codes)
    assert names(answers) == ["NotEnoughStock"] * 3 + ["SalesOrder"]
    assert SalesOrder.objects.count() == 1
    assert sum(lot.reserved for lot in Lot.objects.all()) == 8
    assert_all_is_proved()


def test_the_same_quote_accepted_many_times_at_once_is_one_order(database):
    shop = make_shop()
    shop.cured(50)
    code = sent_quote(shop, 8).code
    answers = at_once(lambda _: accept_quote(code), range(5))
    assert {answer.pk for answer in answers} == {SalesOrder.objects.get().pk}
    assert sum(lot.reserved for lot in Lot.objects.all()) == 8
    assert_all_is_proved()


def test_spare_bars_of_one_batch_are_linked_to_orders_once(database):
    shop = make_shop()
    stock(shop.bench)
    codes = [sent_quote(shop, 3).code for _ in range(4)]
    answers = at_once(lambda code: accept_quote(code, mode=Mode.PARTS), codes)
    assert names(answers) == ["SalesOrder"] * 4
    bars = {}
    for link in SalesOrderBatch.objects.select_related("batch"):
        bars.setdefault(link.batch.code, [link.batch.bars_planned, 0])[1] += link.bars
    assert all(linked <= planned for planned, linked in bars.values())
    assert len(bars) == 2 and sum(linked for _, linked in bars.values()) == 12


def test_holding_and_shipping_by_many_hands_neither_deadlocks_nor_oversells(database):
    shop = make_shop()
    shop.packaging(pieces=100)
    for _ in range(6):
        shop.cured(5, 500)
    orders = [shop.order(10, parts={1: 3}).code for _ in range(4)]

    def work(hand):
        code = orders[hand % 4]
        if hand < 4:
            return reserve_line(code, {1: 5})
        return ship_order(code, ToLeave(bars={1: 3}))

    answers = at_once(work, range(8))
    refused = [answer for answer in answers if isinstance(answer, Exception)]
    assert {type(answer) for answer in refused} <= {NotEnoughStock}
    assert (
        sum(line.shipped for order in SalesOrder.objects.all() for line in order.lines.all()) == 12
    )
    assert_all_is_proved()


def test_a_release_and_hands_on_its_order_never_wait_for_each_other(database):
    """A cure holds its bars' lot and wants the order; the order's hands have it the other way."""
    shop = make_shop()
    stock(shop.bench)
    order = shop.order(12, plan=True).code
    batches = sorted({link.batch.code for link in SalesOrderBatch.objects.select_related("batch")})
    today = timezone.localdate()
    for code in batches:
        reserve_batch(code)
        pour_batch(code, Poured(on=today))
        cut_batch(code, Cut(on=today, bars_good=8))
    shop.cured(2)
    cured = Cured(on=today, early_reason="tested")
    works = [
        *(lambda code=code: cure_batch(code, cured) for code in batches),
        lambda: reserve_line(order),
        lambda: plan_missing(order),
    ]
    answers = at_once(lambda work: work(), works)
    assert {type(each) for each in answers if isinstance(each, Exception)} <= {NotEnoughStock}
    reserve_line(order)  # whatever was not waited for is held by hand
    assert sum(lot.reserved for lot in shop.bar.lots.all()) == 12
    assert sum(lot.on_hand for lot in shop.bar.lots.all()) == 18
    assert_all_is_proved()
