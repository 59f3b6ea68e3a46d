"""Profit from the ledger's own cost, checked against a textbook and against IAS 2."""

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from costing.domain.profit.profit import By, Figures
from costing.models.bar_cost.conversion import Conversion
from costing.models.prices.prices import Product
from costing.models.quotes.quotes import Customer
from costing.models.rates.rates import Fee
from costing.queries.profit.profit import profit_by
from costing.services.bar_cost.late_rates import post_late_rates
from costing.services.orders.opening import Start
from costing.services.orders.returns import SentBack, return_bars
from costing.services.orders.sales import OrderedBars, Ordering, place_order
from costing.services.orders.shipping import ToLeave, ship_order
from inventory.models.stock.lots import Lot
from inventory.services.shipping.shipments import Shipping, ToShip, ship
from tests.costing.making import cured, make_rates
from tests.costing.sales_making import UNIT, add_price, make_shop
from tests.inventory.making import TODAY
from tests.recipes.making import make_bench, stock

pytestmark = pytest.mark.django_db


def sold(shop, bars, *, price=None, customer="corner", **leaving):
    if price is not None:
        shop.tier.prices.update(price=price * UNIT)
    order = place_order(
        Ordering(
            customer=customer,
            lines=[OrderedBars(product="plain", quantity=bars, bars_per_carton=12)],
            ordered_on=timezone.localdate() - timedelta(days=400),
            due_on=timezone.localdate(),
        ),
        start=Start(mode="all"),
    )
    return order, ship_order(order.code, ToLeave(**leaving))


def test_specific_identification_as_in_the_textbook():
    """OpenStax, Principles of Accounting, Volume 1: Financial Accounting, sections 10.2 and 10.3,
    specific identification: the cost of a sale is that of the very lots that left. Here 120 of lot
    1, then 20 of lot 1 and 160 of lot 2; the other 10 of lot 1 are held for somebody else."""
    shop = make_shop()
    shop.cured(150, 150 * 21 * UNIT, code="1", days=90)
    sold(shop, 120, price=36)
    shop.order(10, parts={1: 10})
    shop.cured(225, 225 * 27 * UNIT, code="2", days=60)
    sold(shop, 180, price=39)
    shop.cured(210, 210 * 33 * UNIT, code="3", days=30)
    total = profit_by(()).total
    assert total.sold == 11_340 * UNIT
    assert total.cost_of_goods == 7_260 * UNIT
    assert total.gross_margin == 4_080 * UNIT
    left = {lot.code: (lot.on_hand, lot.cost) for lot in Lot.objects.filter(material=shop.bar)}
    assert left == {
        "1": (10, 10 * 21 * UNIT), "2": (65, 65 * 27 * UNIT), "3": (210, 210 * 33 * UNIT),
    }  # fmt: skip
    assert sum(cost for _, cost in left.values()) == 8_895 * UNIT


@pytest.mark.parametrize(("held_back", "margin"), [(0, 15), (150, 9)])
def test_one_bar_sold_earns_what_its_own_lot_leaves(held_back, margin):
    """OpenStax, Principles of Accounting, Volume 1: Financial Accounting, section 10.1: one unit
    sold at 36 out of lots at 21, 27 and 33 earns 15 from the first (as first in, first out has
    it), 9 where it is lot 2 that leaves."""
    shop = make_shop()
    for days, (amount, cost) in ((90, (150, 21)), (60, (225, 27)), (30, (210, 33))):
        shop.cured(amount, amount * cost * UNIT, days=days)
    if held_back:
        shop.order(held_back, parts={1: held_back})
    sold(shop, 1, price=36)
    assert profit_by(()).total.gross_margin == margin * UNIT


def test_packing_and_fees_are_selling_costs_and_in_no_cost_of_goods():
    """IAS 2 paragraph 16(d): selling costs are no part of the cost of inventories."""
    shop = make_shop(tax_share="0.1")
    shop.packaging(pieces=100, cost=100 * UNIT)  # 1.00 a piece: 12 labels, a carton, two tapes
    shop.cured(20, 40 * UNIT)
    Fee.objects.create(
        code="card",
        name="Card",
        share="0.03",
        fixed_per_sale=3_000,
        effective_from=date(2026, 1, 1),
    )
    sold(shop, 12)
    (figures,) = profit_by([By.PRODUCT]).groups.values()
    assert figures.revenue == 60 * UNIT
    assert figures.cost_of_goods == 24 * UNIT
    assert figures.packing == 15 * UNIT
    assert figures.fees == 19_800 + 3_000  # 3 % of the 66.00 that are paid with tax, and 0.30
    assert figures.gross_margin == 36 * UNIT
    assert figures.contribution == figures.gross_margin - figures.packing - figures.fees
    assert str(figures.gross_share) == "0.600000"


def test_returns_give_back_revenue_and_cost_in_the_month_they_come():
    shop = make_shop()
    shop.cured(24, 48 * UNIT, days=300)
    today = timezone.localdate()
    before = today.replace(day=1) - timedelta(days=1)
    order, sale = sold(shop, 12, shipped_on=before)
    sent = SentBack(shipment=sale.shipment.code, line=1, bars=3, reason="dented")
    return_bars(order.code, sent)
    months = profit_by([By.MONTH]).groups
    assert months == {
        (f"{before:%Y-%m}",): Figures(bars=12, sold=60 * UNIT, cost_out=24 * UNIT),
        (f"{today:%Y-%m}",): Figures(returned=3, credited=15 * UNIT, cost_back=6 * UNIT),
    }
    assert profit_by((), until=before).total.revenue == 60 * UNIT
    assert profit_by((), since=today).total.revenue == -15 * UNIT
    assert profit_by((), since=today).total.gross_share is None


def test_shipments_without_an_order_are_no_sales():
    shop = make_shop()
    shop.cured(10, 1000)
    line = ToShip(amount=2, material=shop.bar.code)
    ship(Shipping(customer_name="A friend", shipped_on=timezone.localdate(), lines=[line]))
    assert profit_by(()).groups == {}


def test_groups_are_told_apart_with_a_fixed_number_of_queries():
    shop = make_shop()
    asked = []
    for number in range(3):
        code = f"shop-{number}"
        Customer.objects.create(code=code, name=code.title(), tier=shop.tier)
        shop.cured(40, 4_000)
        for _ in range(1 + 3 * number):
            sold(shop, 3, customer=code)
        with CaptureQueriesContext(
            connection,
        ) as queries:
            found = profit_by(list(By))
        asked.append(len(queries))
    month = f"{timezone.localdate():%Y-%m}"
    assert {group: figures.bars for group, figures in found.groups.items()} == {
        ("plain", "shop-0", month): 3, ("plain", "shop-1", month): 12,
        ("plain", "shop-2", month): 21,
    }  # fmt: skip
    assert found.names[By.CUSTOMER, "shop-1"] == "Shop-1"
    assert asked == [5, 5, 5]


def test_two_products_of_one_bar_have_their_own_lines():
    shop = make_shop()
    row = shop.product
    boxed = Product.objects.create(
        code="boxed",
        name="Boxed",
        formula=row.formula,
        mold=row.mold,
        needs_no_packing=True,
    )
    add_price(boxed, shop.tier, 9 * UNIT)
    shop.cured(15, 15_001)
    lines = [
        OrderedBars(product=code, quantity=n, bars_per_carton=12)
        for code, n in (("plain", 7), ("boxed", 8))
    ]
    order = place_order(
        Ordering(customer="corner", lines=lines, due_on=timezone.localdate()),
        start=Start(mode="all"),
    )
    ship_order(order.code, ToLeave())
    found = profit_by([By.PRODUCT])
    assert {group: figures.revenue for group, figures in found.groups.items()} == {
        ("boxed",): 72 * UNIT, ("plain",): 35 * UNIT,
    }  # fmt: skip
    costs = {group: figures.cost_of_goods for group, figures in found.groups.items()}
    assert costs == {("boxed",): 8_001, ("plain",): 7_000}  # 15 bars that cost 1.5001 together


def test_what_left_without_its_labor_costs_at_least_what_the_books_know():
    """What came late is an expense of its own day; what had left keeps the cost it left with."""
    bench = make_bench()
    stock(bench)
    code = cured(bench)
    shop = make_shop(bench=bench)
    conversion = Conversion.objects.get(batch__code=code)
    assert conversion.efforts.filter(cost__isnull=True).exists()
    sold(shop, 6, price=9)
    found = profit_by([By.PRODUCT])
    [figures] = found.groups.values()
    assert figures.not_known == 6 == found.total.not_known
    assert (figures.cost_of_goods, figures.gross_margin) == (None, None)
    assert (figures.contribution, figures.gross_share) == (None, None)
    assert figures.cost_at_least == figures.cost_out > 0
    assert figures.margin_at_most == figures.revenue - figures.cost_out
    assert found.late == 0
    make_rates(since=date(2026, 1, 2))
    today = timezone.localdate()
    [late] = post_late_rates(since=TODAY, on=today)
    after = profit_by([By.PRODUCT], since=today, until=today)
    assert after.late == late.variance > 0
    assert after.groups == found.groups
    sold(shop, 2)
    assert profit_by(()).total.not_known == 6
    assert profit_by((), until=today - timedelta(days=1)).late == 0


def test_what_comes_back_without_its_labor_is_not_known_either():
    """Whatever the days asked about: they hold the sale, the return, or both."""
    bench = make_bench()
    stock(bench)
    cured(bench)
    shop = make_shop(bench=bench)
    today = timezone.localdate()
    order, sale = sold(shop, 6, shipped_on=today - timedelta(days=1))
    return_bars(order.code, SentBack(shipment=sale.shipment.code, line=1, bars=2, reason="dented"))
    back = profit_by([By.PRODUCT], since=today).total
    assert (back.bars, back.returned, back.not_known) == (0, 2, 2)
    assert (back.cost_of_goods, back.gross_margin, back.contribution) == (None, None, None)
    assert profit_by((), until=today - timedelta(days=1)).total.not_known == 6
    assert profit_by(()).total.not_known == 8


def test_what_comes_back_of_what_was_known_is_known():
    shop = make_shop()
    shop.cured(12, 24 * UNIT)
    order, sale = sold(shop, 12)
    return_bars(order.code, SentBack(shipment=sale.shipment.code, line=1, bars=3, reason="dented"))
    assert profit_by(()).total.not_known == 0
