"""A quote becomes an order as it was sent: every sum, once, and with all that it sets going."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from costing.errors import QuoteExpired, QuoteSettled
from costing.models.orders.sales import SalesOrder, SalesOrderBatch
from costing.models.quotes.quotes import Quote
from costing.services.orders.opening import Mode, accept_quote
from costing.services.quotes.drafts import LineDescription, QuoteDescription, draft_quote
from costing.services.quotes.quotes import decline_quote, send_quote
from inventory.errors import NotEnoughStock
from inventory.models.buying.requirements import Requirement
from studio.foundation.errors import NotFound
from tests.costing.sales_making import UNIT, make_shop
from tests.recipes.making import stock

pytestmark = pytest.mark.django_db


@pytest.fixture
def shop():
    made = make_shop(price=4 * UNIT + 99, tax_share=Decimal("0.0725"))
    stock(made.bench)
    return made


def sent(shop, *quantities, **values):
    today = timezone.localdate()
    lines = [
        LineDescription(product=shop.product.code, quantity=n, bars_per_carton=12)
        for n in quantities
    ]
    described = QuoteDescription(customer=shop.customer.code, lines=lines, **values)
    return send_quote(draft_quote(described, on=today).code, on=today, mail=False)


def test_every_sum_and_line_is_copied_as_it_was_sent(shop):
    shop.cured(40)
    quote = sent(shop, 13, 7, discount=Decimal("0.07"), freight=8 * UNIT, terms="As agreed.")
    shop.tier.prices.update(price=99 * UNIT)  # later changes never alter it
    order = accept_quote(quote.code, reference="PO 12")
    for name in (
        "customer",
        "goods",
        "tax",
        "freight",
        "total",
        "tax_share",
        "tax_included",
        "terms",
    ):
        assert getattr(order, name) == getattr(quote, name), name
    copied = ("position", "product_id", "quantity", "bars_per_carton", "price", "amount",
              "promised_on")  # fmt: skip
    assert list(order.lines.values(*copied)) == list(quote.lines.values(*copied))
    assert sum(line.amount for line in order.lines.all()) == order.goods
    quote.refresh_from_db()
    assert (quote.state, order.quote, order.reference) == ("accepted", quote, "PO 12")


def test_accepting_again_gives_the_order_that_is_there(shop):
    shop.cured(20)
    quote = sent(shop, 8)
    assert accept_quote(quote.code) == accept_quote(quote.code)
    assert SalesOrder.objects.count() == 1
    assert Requirement.objects.get(holder__startswith="order:").amount == 8


def test_too_few_bars_leave_the_quote_open_and_parts_are_planned(shop):
    shop.cured(5)
    quote = sent(shop, 14)
    with pytest.raises(NotEnoughStock):
        accept_quote(quote.code, mode=Mode.ALL)
    quote.refresh_from_db()
    assert quote.state == "sent" and not SalesOrder.objects.exists()
    order = accept_quote(quote.code, mode=Mode.PARTS)
    assert sum(hold.amount for hold in order.lines.get().holds.all()) == 5
    links = SalesOrderBatch.objects.filter(line__order=order)
    assert sum(link.bars for link in links) == 9
    assert order.due_on == max(line.promised_on for line in order.lines.all())
    olive = Requirement.objects.filter(material=shop.bench.materials["olive"])
    assert olive.count() == 2  # reordering sees what two batches of eight will take
    assert Requirement.objects.get(holder=order.holder).due_on == order.due_on


def test_stated_parts_and_no_plan_leave_the_rest_to_be_decided(shop):
    shop.cured(20)
    quote = sent(shop, 8, 8)
    order = accept_quote(quote.code, mode="parts", parts={2: 3}, plan=False)
    held = {h.line.position: h.amount for line in order.lines.all() for h in line.holds.all()}
    assert held == {2: 3}
    assert not SalesOrderBatch.objects.exists()


def test_what_was_not_sent_or_is_over_is_not_accepted(shop):
    shop.cured(20)
    today = timezone.localdate()
    line = LineDescription(product=shop.product.code, quantity=3, bars_per_carton=12)
    draft = draft_quote(QuoteDescription(customer=shop.customer.code, lines=[line]), on=today)
    with pytest.raises(QuoteSettled):
        accept_quote(draft.code)
    declined = sent(shop, 4)
    decline_quote(declined.code)
    with pytest.raises(QuoteSettled):
        accept_quote(declined.code)
    ago = today - timedelta(days=60)
    described = QuoteDescription(
        customer=shop.customer.code, lines=[line], valid_until=ago + timedelta(days=9)
    )
    old = draft_quote(described, on=ago)
    send_quote(old.code, on=ago, mail=False)
    with pytest.raises(QuoteExpired, match="valid until"):
        accept_quote(old.code)
    with pytest.raises(NotFound):
        accept_quote("Q-99999")
    assert not SalesOrder.objects.exists()
    assert set(Quote.objects.values_list("state", flat=True)) == {"draft", "declined", "sent"}
