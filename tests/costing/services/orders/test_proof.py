"""The proof of sales finds what was changed behind the services' back."""

import pytest
from django.core.management import CommandError, call_command
from django.db.models import F

from costing.models.orders.sales import (
    SalesCredit,
    SalesOrderHold,
    SalesOrderLine,
    SalesShipment,
    SalesShipmentLine,
    SalesShipmentLot,
)
from costing.services.orders.proof import prove_sales
from costing.services.orders.returns import SentBack, return_bars
from costing.services.orders.shipping import ToLeave, ship_order
from tests.costing.sales_making import make_shop

pytestmark = pytest.mark.django_db


@pytest.fixture
def sold():
    shop = make_shop()
    shop.packaging(cost=1000)
    shop.cured(30, 3000)
    order = shop.order(12, 12)
    sale = ship_order(order.code, ToLeave(bars={1: 12, 2: 4}))
    return_bars(order.code, SentBack(shipment=sale.shipment.code, line=1, bars=2, reason="wet"))
    assert prove_sales() == []


@pytest.mark.parametrize(
    ("model", "column", "found"),
    [
        (SalesShipmentLine, "bars", "bars of lines and of their lots"),
        (SalesShipmentLine, "cost", "cost of what left"),
        (SalesShipmentLot, "bars", "bars that left"),
        (SalesCredit, "bars", "bars that came back"),
        (SalesCredit, "cost", "cost of what came back"),
        (SalesShipment, "packing_cost", "cost of packing"),
        (SalesOrderHold, "remaining", "bars held"),
        (SalesOrderLine, "shipped", "shipped"),
        (SalesOrderLine, "returned", "returned"),
    ],
)
def test_each_kind_of_difference_is_found(sold, model, column, found):
    row = model.objects.exclude(**{column: 0}).first()
    model.objects.filter(pk=row.pk).update(**{column: F(column) - 1})
    assert found in {one.what for one in prove_sales()}
    with pytest.raises(CommandError, match="differ"):
        call_command("prove_sales", stdout=open("/dev/null", "w"))  # noqa: SIM115, PTH123


def test_the_command_says_that_all_is_proved(sold, capsys):
    call_command("prove_sales")
    assert capsys.readouterr().out == (
        "The sales are proved: 1 orders, 1 shipments, nothing differs.\n"
    )


def test_the_proof_asks_the_same_however_many_sales(sold, django_assert_num_queries):
    with django_assert_num_queries(15):
        prove_sales()
