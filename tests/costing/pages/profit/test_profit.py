"""Profit by hand, and the two sums before selling."""

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from costing.domain.profit.profit import By
from costing.queries.profit.profit import profit_by
from studio.foundation.local_words import written_money
from tests.furnished import furnish
from tests.kept import once_a_module
from tests.read_pages import read
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db
MOST_QUERIES = 10
furnished_once = once_a_module(lambda: furnish(today=timezone.localdate()))


def look(address, user=None):
    client = Client()
    client.force_login(user or person("owner"))
    with CaptureQueriesContext(connection) as queries:
        answer = client.get(address)
    assert answer.status_code == 200 and len(queries) <= MOST_QUERIES
    return read(answer)


def test_profit_is_that_of_the_ledger_by_product_and_by_customer():
    found = profit_by([By.PRODUCT])
    page = look("/prices/profit/")
    total = found.total
    assert f"<strong>{written_money(total.gross_margin)}</strong> left of" in page
    assert total.revenue > total.cost_of_goods > 0
    for figures in found.groups.values():
        assert written_money(figures.revenue) in page
    both = look("/prices/profit/?by=customer,product")
    assert "Harbor plain" in both and "Gull &amp; Lantern" in both
    (link,) = re.findall(r'href="(/api/v1/profit\.csv[^"]*)"', both)
    client = Client()
    client.force_login(person("owner"))
    assert b"harbor-plain" in client.get(link.replace("&amp;", "&")).content


def test_days_without_sales_and_days_that_cannot_be():
    day = (timezone.localdate() + timedelta(days=9)).isoformat()
    assert "Nothing was shipped" in look(f"/prices/profit/?by=product&since={day}&until={day}")
    assert "choose that day or a later one" in look(
        f"/prices/profit/?by=product&since={day}&until=2020-01-01"
    )


def test_break_even_of_a_textbook():
    # Contribution margin as in OpenStax, Principles of Accounting 2, chapter 3 (from memory):
    # fixed cost 18,000, price 150, variable cost 30: 18,000 / 120 = 150 units, sales 22,500.
    page = look("/prices/break-even/?fixed_cost=18000&price=150&variable_cost=30")
    assert "<strong>150 bars a month</strong>" in page and "$22,500.00" in page
    page = look(
        "/prices/break-even/?fixed_cost=18000&price=150&variable_cost=30&target_profit=24000"
    )
    assert "<strong>350 bars a month</strong>" in page
    page = look("/prices/break-even/?fixed_cost=100&price=3&variable_cost=3.40")
    assert "brings no more than it costs" in page and 'value="3.40"' in page


def test_the_smallest_order_that_pays_its_packing():
    # 5 bars bring 5 x 2.00 = 10.00; packing takes 9.00 and a carton of 1.00.
    asked = "?bar_price=6&cost_per_bar=4&cost_per_order=9&cost_per_carton=1&bars_per_carton=24"
    assert "<strong>5 bars</strong> in 1 carton" in look(f"/prices/break-even/{asked}")
    never = asked.replace("cost_per_bar=4", "cost_per_bar=7")
    assert "no order pays it" in look(f"/prices/break-even/{never}")


def test_they_are_for_those_who_see_costs():
    client = Client()
    client.force_login(person("maker"))
    for address in ("/prices/profit/", "/prices/break-even/"):
        assert client.get(address).status_code == 403
