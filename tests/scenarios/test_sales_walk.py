"""Random walks over orders: whatever happens, sales say what the ledger says, and profit adds up.

The long run walks more often.
"""

from datetime import timedelta
from itertools import chain, combinations

import pytest
from django.db.models import Sum
from django.utils import timezone
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    rule,
    run_state_machine_as_test,
)

from costing.domain.profit.profit import By
from costing.models.orders.sales import (
    SalesCredit,
    SalesOrder,
    SalesOrderHold,
    SalesShipment,
    SalesShipmentLine,
)
from costing.models.prices.prices import Product
from costing.models.quotes.quotes import Customer
from costing.queries.orders.sales import invoice_rows
from costing.queries.profit.profit import profit_by
from costing.services.orders.holds import cancel_rest, reserve_line, unreserve_line
from costing.services.orders.opening import Start, accept_quote
from costing.services.orders.proof import prove_sales
from costing.services.orders.returns import SentBack, return_bars
from costing.services.orders.sales import OrderedBars, Ordering, place_order
from costing.services.orders.shipping import ToLeave, ship_order
from costing.services.quotes.drafts import LineDescription, QuoteDescription, draft_quote
from costing.services.quotes.quotes import send_quote
from inventory.errors import NotEnoughStock
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.services.shipping.returns import Returning, return_shipment
from inventory.services.stock.proof import prove_books
from studio.foundation.errors import Refusal
from tests.costing.sales_making import add_price, make_shop

WALKS = [
    pytest.param(4, (Phase.generate,), id="4"),
    pytest.param(100, tuple(Phase), id="100", marks=pytest.mark.long),
]

which = st.integers(0, 10**4)
bars = st.integers(1, 14)


class SalesWalk(RuleBasedStateMachine):
    """A shop whose orders are taken, held, shipped, sent back and called off in any order."""

    def __init__(self, database):
        super().__init__()
        database.restore()
        self.today = timezone.localdate()
        self.done = 0

    @initialize(tax=st.sampled_from([("0", False), ("0.19", True), ("0.0825", False)]))
    def open_shop(self, tax):
        share, included = tax
        self.shop = make_shop(price=49_900, tax_share=share, tax_included=included)
        self.shop.packaging(pieces=200, cost=3337)
        row = self.shop.product
        boxed = Product.objects.create(
            code="boxed",
            name="Boxed",
            formula=row.formula,
            mold=row.mold,
            needs_no_packing=True,
        )
        add_price(boxed, self.shop.tier, 71_300)
        # Nobody offers its materials: the owner says how low a price may be.
        self.shop.tier.prices.update(floor=100)
        Customer.objects.create(
            code="market", name="Market (invented)", tier=self.shop.tier, discount="0.07"
        )
        # Hypothesis leaves rules out of single walks, so each begins where all of them find work.
        for amount, cost in ((70, 123_457), (50, 99_999), (90, 7)):
            self.shop.cured(amount, cost, days=amount)
        for lines in ([("plain", 7), ("boxed", 13), ("plain", 11)], [("boxed", 9)], [("plain", 3)]):
            self.order(customer="market", lines=lines, freight=31)
        for n in range(2):
            self.ship(n=n, part=3, ago=25)
        assert self.done == 2

    @rule(amount=st.integers(10, 80), cost=st.integers(0, 10**6), days=st.integers(0, 90))
    def bars_are_cured(self, amount, cost, days):
        self.shop.cured(amount, cost, days=days)

    @rule(
        customer=st.sampled_from(["corner", "market"]),
        lines=st.lists(
            st.tuples(st.sampled_from(["plain", "boxed"]), bars), min_size=1, max_size=3
        ),
        freight=st.integers(0, 99),
    )
    def order(self, customer, lines, freight):
        ordered = [OrderedBars(product=p, quantity=n, bars_per_carton=6) for p, n in lines]
        ordering = Ordering(
            customer=customer,
            lines=ordered,
            due_on=self.today + timedelta(days=9),
            ordered_on=self.today - timedelta(days=40),
            freight=freight * 100,
        )
        place_order(ordering, start=Start(mode="parts", plan=False))

    @rule(quantities=st.lists(bars, min_size=1, max_size=2), all_of_it=st.booleans())
    def quote_and_accept(self, quantities, all_of_it):
        lines = [
            LineDescription(product="plain", quantity=n, bars_per_carton=6) for n in quantities
        ]
        asked = QuoteDescription(customer="market", lines=lines, freight=12_300)
        quote = draft_quote(asked, on=self.today)
        send_quote(quote.code, on=self.today, mail=False)
        before = SalesOrder.objects.count()
        try:
            accept_quote(quote.code, mode="all" if all_of_it else "parts", plan=False)
        except NotEnoughStock:
            assert all_of_it and SalesOrder.objects.count() == before

    @rule(n=which)
    def reserve(self, n):
        self.tried(n, lambda order: reserve_line(order.code))

    @rule(n=which, amount=bars)
    def give_back(self, n, amount):
        self.tried(n, lambda order: unreserve_line(order.code, {1: amount}))

    @rule(n=which, part=st.integers(1, 4), ago=st.integers(0, 35))
    def ship(self, n, part, ago):
        """A part of what is held of each line, or all of it."""

        def work(order):
            holds = SalesOrderHold.objects.filter(line__order=order, reservation__state="open")
            rows = holds.values_list("line__position").annotate(held=Sum("remaining"))
            leaving = {place: -(-held // part) for place, held in rows.order_by()}
            shipped_on = self.today - timedelta(days=ago)
            ship_order(order.code, ToLeave(bars=leaving, shipped_on=shipped_on))

        self.tried(n, work)

    @rule(n=which, amount=bars, all_of_it=st.booleans())
    def send_back(self, n, amount, all_of_it):
        lines = list(SalesShipmentLine.objects.order_by("id"))
        if not lines:
            return
        line = lines[n % len(lines)]
        code = line.shipment.shipment.code

        def work(order):
            if all_of_it:
                return return_shipment(code, Returning(returned_on=self.today, reason="walked"))
            sent = SentBack(shipment=code, line=line.line.position, bars=amount, reason="walked")
            return return_bars(order.code, sent)

        self.tried(line.shipment.order_id, work, by_id=True)

    @rule(n=which)
    def call_off(self, n):
        if n % 3 == 0:  # else most walks would end here
            self.tried(n, lambda order: cancel_rest(order.code))

    def tried(self, n, work, *, by_id=False):
        """Do it to one of the orders; what is refused changes nothing."""
        orders = list(SalesOrder.objects.order_by("id"))
        if not orders:
            return
        order = SalesOrder.objects.get(pk=n) if by_id else orders[n % len(orders)]
        before = StockEntry.objects.count()
        try:
            work(order)
            self.done += 1
        except Refusal:
            assert StockEntry.objects.count() == before

    @invariant()
    def all_is_proved(self):
        proof = prove_books()
        assert proof.holds, proof.differences
        assert prove_sales() == []
        held = SalesOrderHold.objects.filter(reservation__state="open").aggregate(
            bars=Sum("remaining", default=0)
        )
        reserved = Lot.objects.filter(material__kind="bar").aggregate(
            bars=Sum("reserved", default=0)
        )
        assert held == reserved

    @invariant()
    def profit_is_the_ledgers_own(self):
        sales = [f"shipment:{code}" for code in SalesShipment.objects.values_list(
            "shipment__code", flat=True)]  # fmt: skip
        entries = StockEntry.objects.filter(reference__in=sales)
        cost = -entries.aggregate(cost=Sum("cost", default=0))["cost"]
        packed = StockEntry.objects.filter(note="packing", verb="consume")
        packing = -packed.aggregate(cost=Sum("cost", default=0))["cost"]
        whole = profit_by(()).total
        assert (whole.cost_of_goods, whole.packing) == (cost, packing)
        for by in chain.from_iterable(combinations(By, count) for count in (1, 2, 3)):
            assert profit_by(by).total == whole
        first = profit_by((), until=self.today - timedelta(days=20)).total
        later = profit_by((), since=self.today - timedelta(days=19)).total
        assert first + later == whole

    @invariant()
    def invoices_add_up_to_what_was_ordered(self):
        for order in SalesOrder.objects.all():
            rows = invoice_rows(order.code)
            net, tax = (sum(getattr(row, name) for row in rows if row.kind != "credit")
                        for name in ("net", "tax"))  # fmt: skip
            assert all(row.gross % 100 == 0 for row in rows if row.kind != "credit")
            goods = order.goods + order.freight
            if all(line.shipped == line.quantity for line in order.lines.all()):
                assert (tax, net + tax) == (order.tax, order.total)
                assert net == (goods - order.tax if order.tax_included else goods)
            else:
                assert net + tax <= order.total
            credits = SalesCredit.objects.filter(line__shipment__order=order)
            back = credits.aggregate(all=Sum("revenue", default=0))["all"]
            assert sum(-row.net for row in rows if row.kind == "credit") == back


@pytest.mark.parametrize(("walks", "phases"), WALKS)
def test_any_walk_over_orders_keeps_sales_equal_to_the_ledger(database, walks, phases):
    run_state_machine_as_test(
        lambda: SalesWalk(database),
        settings=settings(
            max_examples=walks,
            stateful_step_count=25,
            phases=phases,
            suppress_health_check=list(HealthCheck),
        ),
    )
