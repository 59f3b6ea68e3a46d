"""The pick list on paper: every lot and place, on both sizes, and no money."""

import pytest

from costing.paper.pick_list import TEMPLATE, pick_values
from costing.queries.orders.sales import pick_list
from studio.foundation.paper.codes import qr_svg
from studio.foundation.paper.rendering import render_pdf
from tests.costing.sales_making import make_shop
from tests.studio.foundation.paper.reading import (
    pages_of,
    text_of,
    words_outside,
    words_overlapping,
)

pytestmark = pytest.mark.django_db


def printed(order, paper="a4"):
    values = {**pick_values(pick_list(order.code)), "code": qr_svg(order.code)}
    return render_pdf(TEMPLATE, values, paper=paper)


@pytest.fixture
def shop():
    made = make_shop()
    made.customer.name = "Harbor Street General Store (invented) " * 2
    made.customer.address = "12 Harbor Street\nLittlehaven"
    made.customer.save()
    made.product.name = "Wordwithoutend" * 8
    made.product.save()
    return made


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_every_lot_is_there_with_its_bars_and_nothing_runs_over(shop, paper):
    codes = [shop.cured(7, code=f"B-000{n}", days=90 - n).code for n in range(10, 50)]
    order = shop.order(140, 140, 20, reference="PO " + "9" * 70, note="Ring twice. " * 60)
    pdf = printed(order, paper)
    text = text_of(pdf)
    assert all(code in text for code in codes)
    assert pages_of(pdf) > 1
    assert "280" in text and "24 cartons" in text and "20 bars of this order" in text
    assert not words_outside(pdf)
    assert not words_overlapping(pdf)


def test_an_order_that_holds_nothing_says_so_and_no_page_names_money(shop):
    order = shop.order(3)
    assert "Nothing is held for this order yet" in text_of(printed(order))
    values = pick_values(pick_list(order.code))
    assert not {"price", "amount", "total"} & {*values, *(values["picks"] or [{}])[0]}
