"""Orders as they are shown: their rows, pick lists, and what is to be invoiced."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil

from django.db.models import Prefetch, QuerySet

from costing.models.orders.sales import (
    SalesCredit,
    SalesOrder,
    SalesOrderHold,
    SalesOrderLine,
    SalesShipment,
    SalesShipmentLine,
)
from studio.foundation.errors import NotFound


@dataclass(frozen=True, slots=True, kw_only=True)
class Pick:
    """Bars to take out of one lot for a line; `cartons` is what the line fills in all, on its first
    pick, else 0."""

    position: int
    product: str
    name: str
    lot: str
    location: str
    bars: int
    per_carton: int
    cartons: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PickList:
    """What an order holds, lot by lot, and how many bars of it nothing holds yet."""

    order: SalesOrder
    picks: tuple[Pick, ...]
    missing: int

    @property
    def bars(self) -> int:
        """All bars to pick."""
        return sum(pick.bars for pick in self.picks)

    @property
    def cartons(self) -> int:
        """All cartons, each line in its own."""
        return sum(pick.cartons for pick in self.picks)


@dataclass(frozen=True, slots=True, kw_only=True)
class InvoiceRow:
    """A row of an invoice: a part of a line that left, freight, or a credit (below zero).

    Money is ten-thousandths; `price` is the agreed one by the bar, before a quote's discount.
    """

    order: str
    customer: str
    reference: str
    shipment: str
    day: date
    kind: str
    product: str
    quantity: int
    price: int | None
    net: int
    tax: int
    terms: str
    due_on: date

    @property
    def gross(self) -> int:
        """With tax."""
        return self.net + self.tax


def orders() -> "QuerySet[SalesOrder]":
    """Orders with all that is shown of them: eight queries for any number of them."""
    holds = SalesOrderHold.objects.filter(reservation__state="open", remaining__gt=0)
    credits = SalesCredit.objects.select_related("back__line__lot")
    shipped = SalesShipmentLine.objects.select_related("line__product").prefetch_related(
        Prefetch("credits", credits)
    )
    return SalesOrder.objects.select_related("customer", "quote", "by").prefetch_related(
        Prefetch("lines", SalesOrderLine.objects.select_related("product").order_by("position")),
        Prefetch(
            "lines__holds",
            holds.select_related("lot__location").order_by("lot__received_on", "lot", "id"),
        ),
        "lines__batches__batch",
        Prefetch("shipments", SalesShipment.objects.select_related("shipment").order_by("id")),
        Prefetch("shipments__lines", shipped.order_by("line__position")),
        "events__by",
    )


def find_order(code: str) -> SalesOrder:
    """An order with all that is shown of it. Raises NotFound."""
    order = orders().filter(code=code).first()
    if order is None:
        raise NotFound(f"There is no order {code}.", field="order")
    return order


def held_of(line: SalesOrderLine) -> int:
    """Bars held for a line of `orders()`. No query."""
    return sum(hold.remaining for hold in line.holds.all())


def pick_list(code: str) -> PickList:
    """What is to be picked for an order, those that have cured longest first. Raises NotFound."""
    order = find_order(code)
    lines = list(order.lines.all())
    is_open = order.state == "open"
    left = sum(line.quantity - line.shipped - held_of(line) for line in lines)
    return PickList(
        order=order,
        picks=tuple(pick for line in lines for pick in _picks(line)),
        missing=left if is_open else 0,
    )


def _picks(line: SalesOrderLine) -> Iterable[Pick]:
    cartons = ceil(held_of(line) / line.bars_per_carton)
    for index, hold in enumerate(line.holds.all()):
        yield Pick(
            position=line.position,
            product=line.product.code,
            name=line.product.name,
            lot=hold.lot.code,
            location=hold.lot.location.name if hold.lot.location else "",
            bars=hold.remaining,
            per_carton=line.bars_per_carton,
            cartons=0 if index else cartons,
        )


def invoice_rows(code: str) -> list[InvoiceRow]:
    """What is to be invoiced of an order: what left, freight with the first shipment, credits.

    Once all of it has left and nothing came back, the rows add up to the order. Raises NotFound.
    """
    order = find_order(code)
    rows: list[InvoiceRow] = []
    for sale in order.shipments.all():
        rows += _of_sale(order, sale)
    for sale in order.shipments.all():
        for line in sale.lines.all():
            rows += [_of_credit(order, sale, line, credit) for credit in line.credits.all()]
    return rows


def _of_sale(order: SalesOrder, sale: SalesShipment) -> Sequence[InvoiceRow]:
    day = sale.shipment.shipped_on
    rows = [
        _row(
            order,
            sale,
            day,
            kind="sale",
            product=line.line.product.code,
            quantity=line.bars,
            price=line.line.price,
            net=line.revenue,
            tax=line.tax,
        )
        for line in sale.lines.all()
    ]
    if sale.freight or sale.freight_tax:
        freight = _row(
            order,
            sale,
            day,
            kind="freight",
            product="",
            quantity=1,
            price=None,
            net=sale.freight,
            tax=sale.freight_tax,
        )
        rows.append(freight)
    return rows


def _of_credit(
    order: SalesOrder, sale: SalesShipment, line: SalesShipmentLine, credit: SalesCredit
) -> InvoiceRow:
    return _row(
        order,
        sale,
        credit.back.returned_on,
        kind="credit",
        product=line.line.product.code,
        quantity=-credit.bars,
        price=line.line.price,
        net=-credit.revenue,
        tax=-credit.tax,
    )


def _row(
    order: SalesOrder,
    sale: SalesShipment,
    day: date,
    *,
    kind: str,
    product: str,
    quantity: int,
    price: int | None,
    net: int,
    tax: int,
) -> InvoiceRow:
    return InvoiceRow(
        order=order.code,
        customer=order.customer.name,
        reference=order.reference,
        shipment=sale.shipment.code,
        day=day,
        kind=kind,
        product=product,
        quantity=quantity,
        price=price,
        net=net,
        tax=tax,
        terms=order.terms or f"{order.terms_days} days",
        due_on=day + timedelta(days=order.terms_days),
    )
