"""Promise dates on a real shelf, with batches under way, open orders and molds."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from costing.models.orders.sales import SalesOrder, SalesOrderBatch, SalesOrderLine
from costing.queries.orders.promises import Wanted, promise
from inventory.services.buying.requirements import require
from recipes.models.bench.batches import Batch
from recipes.models.formulas.formulas import Formula
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.finishing import Cured, Cut, cure_batch, cut_batch
from studio.foundation.errors import NotFound
from tests.costing.selling import a_customer, a_product
from tests.inventory.buying import a_supplier, an_offer
from tests.inventory.making import KG
from tests.recipes.making import make_bench, planned, stock

pytestmark = pytest.mark.django_db


@pytest.fixture
def today():
    return timezone.localdate()


@pytest.fixture
def bench(db):
    return make_bench()


@pytest.fixture
def product(bench):
    return a_product(bench)


def asked(product, *quantities, on, wanted_on=None):
    lines = [Wanted(product_id=product.pk, quantity=n) for n in quantities]
    return promise(lines, on=on, wanted_on=wanted_on)


def shown(answer):
    return [(part.kind, part.amount, part.code) for part in answer.parts]


def poured(bench, on):
    batch = planned(bench, on=on)
    reserve_batch(batch.code)
    pour_batch(batch.code, Poured(on=on, minutes=30))
    return batch.code


def cut(bench, on, *, days=1, good=8):
    code = poured(bench, on)
    cut_batch(code, Cut(on=on + timedelta(days=days), bars_good=good, reason="for the test"))
    return code


def cured(bench, on):
    code = cut(bench, on)
    cure_batch(code, Cured(on=on + timedelta(days=28)))
    return code


def an_order(product, batch_code, *, requires, bars):
    """An open order that waits for bars of a batch and still requires so many."""
    customer = a_customer("earlier")
    day = timezone.localdate()
    order = SalesOrder.objects.create(code="SO-1", customer=customer, ordered_on=day, due_on=day)
    line = SalesOrderLine.objects.create(
        order=order, position=1, product=product, quantity=bars, bars_per_carton=8,
        price=1, amount=bars,
    )  # fmt: skip
    SalesOrderBatch.objects.create(line=line, batch=Batch.objects.get(code=batch_code), bars=bars)
    require({product.formula.product_id: requires}, holder=order.holder, due_on=day)
    return order


def test_cured_bars_are_there_today_and_curing_ones_later(bench, product, today):
    stock(bench, received_on=today - timedelta(days=60))
    ready = cured(bench, today - timedelta(days=40))
    curing = cut(bench, today - timedelta(days=10))
    first, second = asked(product, 8, 5, on=today)
    assert (first.on, shown(first)) == (today, [("cured", 8, ready)])
    assert (second.on, shown(second)) == (today + timedelta(days=18), [("curing", 5, curing)])
    assert first.reason == second.reason == ""


def test_a_planned_batch_comes_next_and_then_a_new_one_behind_it(bench, product, today):
    stock(bench, amount=20 * KG, received_on=today - timedelta(days=60))
    batch = planned(bench, on=today)
    (answer,) = asked(product, 12, on=today)
    assert shown(answer) == [("planned", 8, batch.code), ("new", 4, "loaf")]
    # two days in the mold (common practice) before the next pour, then the recipe's cure
    assert answer.on == today + timedelta(days=2 + 28)
    assert answer.reason == "New batches wait for mold loaf."


def test_the_mold_is_taken_as_long_as_the_recipe_stayed_in_it(bench, product, today):
    stock(bench, amount=20 * KG, received_on=today - timedelta(days=60))
    cut(bench, today - timedelta(days=60), days=4, good=1)
    planned(bench, on=today)
    (answer,) = asked(product, 10, on=today, wanted_on=today + timedelta(days=31))
    assert answer.on == today + timedelta(days=4 + 28)
    assert answer.reason.endswith("1 day later than wanted.")


def test_another_recipe_in_the_same_mold_is_waited_for(bench, product, today):
    stock(bench, amount=20 * KG, received_on=today - timedelta(days=60))
    poured(bench, today - timedelta(days=9))  # should have been cut long ago: one day more
    Batch.objects.update(bars_planned=0)
    (answer,) = asked(product, 1, on=today)
    assert answer.on == today + timedelta(days=1 + 28)


def test_what_is_short_is_bought_first(bench, product, today):
    stock(bench, received_on=today - timedelta(days=60))
    bench.materials["olive"].lots.update(on_hand=0, cost=0)
    (answer,) = asked(product, 3, on=today)
    assert answer.on is None and answer.reason == (
        "3 bars cannot be promised: nothing brings Olive."
    )
    supplier = a_supplier("hill", lead_time_days=6)
    an_offer(supplier, bench.materials["olive"], "20 kg", 900_000, code="hill-olive")
    (answer,) = asked(product, 3, on=today)
    assert answer.on == today + timedelta(days=6 + 28)
    assert answer.reason == "New batches wait for Olive."


def test_two_lines_share_one_shelf(bench, product, today):
    """Fats for one batch are there, those of the second must be bought."""
    stock(bench, amount=600 * KG // 1000, received_on=today - timedelta(days=60))
    supplier = a_supplier("hill", lead_time_days=9)
    for code in ("olive", "coconut", "naoh", "water", "scent"):
        an_offer(supplier, bench.materials[code], "20 kg", 900_000, code=f"hill-{code}")
    first, later = asked(product, 8, 8, on=today)
    assert first.on == today + timedelta(days=28)
    assert later.on == today + timedelta(days=9 + 28)


def test_bars_of_open_orders_are_not_free(bench, product, today):
    stock(bench, received_on=today - timedelta(days=60))
    ready = cured(bench, today - timedelta(days=40))
    curing = cut(bench, today - timedelta(days=10))
    order = an_order(product, curing, requires=6, bars=6)
    (answer,) = asked(product, 10, on=today)
    assert shown(answer) == [("cured", 8, ready), ("curing", 2, curing)]
    # what an order requires and no batch makes for it takes the soonest bars
    require({product.formula.product_id: 9}, holder=order.holder, due_on=today)
    (answer,) = asked(product, 7, on=today)
    assert shown(answer) == [("cured", 5, ready), ("curing", 2, curing)]
    # an order that holds what it needs claims nothing of its batch any more
    require({product.formula.product_id: 0}, holder=order.holder, due_on=today)
    (answer,) = asked(product, 16, on=today)
    assert shown(answer) == [("cured", 8, ready), ("curing", 8, curing)]


def test_reserved_and_blocked_bars_are_not_free(bench, product, today):
    stock(bench, received_on=today - timedelta(days=60))
    code = cut(bench, today - timedelta(days=10))
    product.formula.product.lots.filter(code=code).update(state="blocked")
    (answer,) = asked(product, 2, on=today)
    assert shown(answer) == [("new", 2, "loaf")]


def test_the_number_of_queries_is_fixed(bench, product, today):
    stock(bench, received_on=today - timedelta(days=60))
    cured(bench, today - timedelta(days=40))

    def queries(*lines):
        with CaptureQueriesContext(
            connection,
        ) as seen:
            promise([Wanted(product_id=pk, quantity=n) for pk, n in lines], on=today)
        return len(seen)

    others = [a_product(bench, f"bar-{n}") for n in range(6)]
    few = queries((product.pk, 1))
    many = queries(*((each.pk, 9) for each in [product, *others] * 4))
    assert few == many <= 18


def test_without_lines_or_product_or_version(bench, product, today):
    assert promise([], on=today) == ()
    with pytest.raises(NotFound):
        promise([Wanted(product_id=10**6, quantity=1)], on=today)
    Formula.objects.update(current=None, current_since=None)
    bench.version.lines.all().delete()
    bench.version.delete()
    (answer,) = asked(product, 2, on=today)
    assert answer.on is None and "no version" in answer.reason


def test_a_plan_that_cannot_be_is_told(bench, product, today):
    bench.mold.rows, bench.mold.overfill_share = 8, Decimal("0.5")
    bench.version.lye_concentration = Decimal("0.9")
    bench.version.save()
    (answer,) = asked(product, 2, on=today)
    assert answer.on is None and "no new batch can be planned" in answer.reason
