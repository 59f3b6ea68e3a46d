"""Profit over the API, and as files whose cells are real dates and numbers."""

import csv
import io
from datetime import datetime

import pytest
from django.utils import timezone
from openpyxl import load_workbook

from costing.services.orders.opening import Mode
from costing.services.orders.shipping import ToLeave, ship_order
from tests.costing.sales_making import UNIT, make_shop
from tests.studio.web.api.people import client_as
from tests.studio.web.api.test_problems import fields_of, problem_in

pytestmark = pytest.mark.django_db
PROFIT = "/api/v1/profit"


@pytest.fixture
def owner():
    shop = make_shop()
    shop.customer.name = "=Shop"
    shop.customer.save()
    shop.cured(20, 40 * UNIT)
    ship_order(shop.order(12, mode=Mode.ALL).code, ToLeave())
    return client_as("owner")


def month():
    return f"{timezone.localdate():%Y-%m}"


def test_groups_and_their_total(owner):
    found = owner.get(f"{PROFIT}/", {"by": "product,month"}).json()
    (group,) = found["groups"]
    assert (group["product"], group["product_name"]) == ("plain", "Plain olive bar")
    assert (group["month"], group["customer"], group["bars"]) == (month(), None, 12)
    money = {name: group[name]["amount"] for name in ("revenue", "cost_of_goods", "contribution")}
    assert money == {"revenue": "60.00", "cost_of_goods": "24.00", "contribution": "36.00"}
    assert group["gross_share"] == found["total"]["gross_share"] == "0.6"
    assert owner.get(f"{PROFIT}/").json()["total"] == found["total"]
    future = owner.get(f"{PROFIT}/", {"from": "2999-01-01"}).json()
    assert (future["groups"], future["total"]["gross_share"]) == ([], None)


def test_the_csv_says_the_same_and_no_cell_is_a_formula(owner):
    answer = owner.get(f"{PROFIT}.csv", {"by": "customer,month"})
    (row,) = csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig")))
    assert (row["customer"], row["customer_name"]) == ("corner", "'=Shop")
    assert (row["month"], row["bars"], row["revenue"]) == (f"{month()}-01", "12", "60")
    assert list(row)[3:6] == ["bars", "returned", "bars_not_known"]
    assert row["bars_not_known"] == "0"


def test_the_workbook_has_real_dates_and_numbers(owner):
    answer = owner.get(f"{PROFIT}.xlsx", {"by": "customer,month"})
    assert answer.headers["Content-Disposition"] == 'attachment; filename="profit.xlsx"'
    heads, row = load_workbook(io.BytesIO(answer.content)).active.iter_rows()
    cells = {head.value: cell for head, cell in zip(heads, row, strict=True)}
    assert cells["customer_name"].data_type == "s"
    assert cells["customer_name"].value == "'=Shop"
    first = timezone.localdate().replace(day=1)
    assert cells["month"].value == datetime(first.year, first.month, 1)  # noqa: DTZ001
    assert cells["month"].is_date
    for name, value in (("bars", 12), ("revenue", 60), ("gross_margin", 36), ("gross_share", 0.6)):
        assert (cells[name].data_type, cells[name].value) == ("n", value)


@pytest.mark.parametrize("end", ["/", ".csv", ".xlsx"])
def test_what_cannot_be_read_is_told(owner, end):
    for query, field in (
        ({"by": "soap"}, "by"),
        ({"by": ""}, "by"),
        ({"by": "month,month"}, "by"),
        ({"from": "yesterday"}, "from"),
        ({"from": "2026-02-30"}, "from"),
        ({"from": "2026-03-02", "until": "2026-03-01"}, "until"),
    ):
        problem = problem_in(owner.get(f"{PROFIT}{end}", query), 422, "invalid-input")
        assert {name for name, _ in fields_of(problem)} == {field}, query
    problem_in(owner.get(f"{PROFIT}{end}", {"since": "2026-01-01"}), 400, "unknown-query")
    assert client_as("maker").get(f"{PROFIT}{end}").status_code == 403
