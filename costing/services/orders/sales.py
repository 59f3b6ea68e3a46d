"""Orders without a quote, at the prices of the list; and all that is done with an order."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.utils import timezone

from costing.domain.quotes.quoting import Asked, Sums, sums, taxed
from costing.errors import OrderRefusal, OrderUnderFloor
from costing.models.orders.sales import SalesOrder, SalesOrderLine
from costing.models.prices.prices import Product
from costing.models.quotes.quotes import Customer
from costing.queries.bar_cost.packaging import packings_of_day
from costing.queries.orders.promises import Wanted, promise
from costing.queries.prices.prices import coin, list_prices, price_for
from costing.queries.prices.sale_floors import Offered, SoldLine, sale_floors
from costing.services.orders.batches import TURN
from costing.services.orders.opening import Start, open_order
from costing.services.prices.floor_word import keep_to_floors
from inventory.services.days import take_day_outside
from studio.foundation.doers import By
from studio.foundation.errors import Faults, NotFound
from studio.work.leases import take_turn


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderedBars:
    """So many bars of a product, by code; without a carton size, as its packaging set says."""

    product: str
    quantity: int
    bars_per_carton: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Ordering:
    """An order as a customer gives it. Without a due date it is due when all can be there.

    `override_reason` is why an owner takes prices under their floor, or whose floor is not known.
    """

    customer: str
    lines: Sequence[OrderedBars]
    due_on: date | None = None
    ordered_on: date | None = None
    reference: str = ""
    freight: int = 0
    note: str = ""
    override_reason: str = ""


@transaction.atomic
def place_order(ordering: Ordering, *, start: Start | None = None, by: By = None) -> SalesOrder:
    """Take an order without a quote: the tier's prices for its quantities, the customer's discount.

    Its bars are held and the missing ones planned as `start` says. Prices keep to their floors as
    those of quotes do. Raises OrderRefusal with every fault, NotFound, OrderUnderFloor unless an
    owner gives a reason (OverrideNotAllowed for others), NotEnoughStock where all was to be held;
    then nothing is kept.
    """
    take_turn(TURN)
    customer, products = _named(ordering)
    today = timezone.localdate()
    ordered_on = ordering.ordered_on or today
    lines = _priced(ordering, customer, products, on=ordered_on)
    told = _kept_to_floors(ordering, customer, lines, on=ordered_on, by=by)
    come_to = _sums(ordering, customer, lines)
    for line, amount in zip(lines, come_to.line_amounts, strict=True):
        line.amount = amount
    due_on = ordering.due_on or _ready_on(lines, today)
    _check_days(ordered_on, due_on)
    order = SalesOrder(
        customer=customer,
        ordered_on=ordered_on,
        due_on=due_on,
        reference=ordering.reference.strip(),
        freight=come_to.freight,
        tax_share=0 if customer.tax_exempt else customer.tier.tax_share,
        tax_included=_with_tax(customer),
        goods=come_to.goods,
        tax=come_to.tax,
        total=come_to.total,
        terms_days=customer.terms_days,
        terms=customer.terms,
        note=ordering.note.strip(),
    )
    return open_order(order, lines, start or Start(), by=by, told=told)


def _kept_to_floors(
    ordering: Ordering,
    customer: Customer,
    lines: Sequence[SalesOrderLine],
    *,
    on: date,
    by: By,
) -> str:
    """What the history says of an owner's word for the prices; raises what they do not keep to."""
    tier = customer.tier
    sold = [
        SoldLine(product_id=line.product_id, tier=tier, quantity=line.quantity) for line in lines
    ]
    offered = [
        Offered(
            position=position,
            product=line.product,
            tier=tier,
            price=line.price,
            asked=Asked(
                price=line.price,
                floor=found.floor,
                discount=customer.discount,
                at_least=found.at_least,
            ),
            cost_actual=found.cost.actual,
            cost_replacement=found.cost.replacement,
        )
        for position, (line, found) in enumerate(
            zip(lines, sale_floors(sold, on=on, tax_included=_with_tax(customer)), strict=True), 1
        )
    ]
    return keep_to_floors(
        offered,
        by=by,
        reason=ordering.override_reason.strip(),
        refusal=OrderUnderFloor,
        field="product",
    )


def _named(ordering: Ordering) -> tuple[Customer, Mapping[str, Product]]:
    customer = Customer.objects.select_related("tier").filter(code=ordering.customer).first()
    if customer is None:
        raise NotFound(f"There is no customer {ordering.customer}.", field="customer")
    rows = Product.objects.filter(code__in=[line.product for line in ordering.lines])
    products = {row.code: row for row in rows}
    unknown, faults = Faults(), Faults()
    if not ordering.lines:
        faults.add("no-lines", "Say what is ordered.", "lines")
    if not customer.active:
        faults.add("not-active", f"{customer.name} is not active any more.", "customer")
    if ordering.freight < 0:
        faults.add("below-zero", "Freight is not below zero.", "freight")
    for index, line in enumerate(ordering.lines):
        field = f"lines.{index}"
        if line.product not in products:
            unknown.add(NotFound.code, f"There is no product {line.product}.", f"{field}.product")
        elif not products[line.product].active:
            faults.add("not-active", f"{line.product} is not sold any more.", f"{field}.product")
        if line.quantity <= 0:
            faults.add("not-positive", "Order more than nothing.", f"{field}.quantity")
        if line.bars_per_carton is not None and line.bars_per_carton <= 0:
            faults.add("not-positive", "A carton holds bars.", f"{field}.bars_per_carton")
    unknown.raise_if_any(NotFound)
    faults.raise_if_any(OrderRefusal)
    return customer, products


def _priced(
    ordering: Ordering, customer: Customer, products: Mapping[str, Product], *, on: date
) -> list[SalesOrderLine]:
    """The lines with the list's prices and their carton sizes. Three queries."""
    rows = [products[line.product] for line in ordering.lines]
    ladders = list_prices({(row.pk, customer.tier_id) for row in rows}, on=on)
    packings = packings_of_day({row.packaging_set_id or 0 for row in rows}, on=on)
    faults = Faults()
    lines = []
    for index, (line, row) in enumerate(zip(ordering.lines, rows, strict=True)):
        entry = price_for(ladders[row.pk, customer.tier_id], line.quantity)
        packing = packings.get(row.packaging_set_id or 0)
        carton = line.bars_per_carton or (packing.bars_per_carton if packing else None)
        if entry is None:
            faults.add(
                "no-price",
                f"The list has no price of {row.name} to {customer.tier.name} for "
                f"{line.quantity} bars on {on}: add one, or write a quote.",
                f"lines.{index}",
            )
        if carton is None:
            faults.add(
                "no-carton",
                f"Say how many bars of {row.name} go into a carton.",
                f"lines.{index}.bars_per_carton",
            )
        if entry is not None and carton is not None:
            price = _asked(entry.price, customer)
            lines.append(
                SalesOrderLine(
                    product=row, quantity=line.quantity, bars_per_carton=carton, price=price
                )
            )
    faults.raise_if_any(OrderRefusal)
    return lines


def _asked(price: int, customer: Customer) -> int:
    """The list's price; without its tax for somebody who pays none."""
    tier = customer.tier
    if not (customer.tax_exempt and tier.tax_included):
        return price
    return taxed(price, tax_share=tier.tax_share, tax_included=True).without_tax


def _with_tax(customer: Customer) -> bool:
    return customer.tier.tax_included and not customer.tax_exempt


def _sums(ordering: Ordering, customer: Customer, lines: Sequence[SalesOrderLine]) -> Sums:
    return sums(
        [line.quantity * line.price for line in lines],
        discount=customer.discount,
        freight=ordering.freight,
        tax_share=customer.tier.tax_share * (0 if customer.tax_exempt else 1),
        tax_included=_with_tax(customer),
        unit=coin(),
    )


def _ready_on(lines: Sequence[SalesOrderLine], today: date) -> date:
    """The day on which all can be there; today where nobody can tell."""
    wanted = [Wanted(product_id=line.product_id, quantity=line.quantity) for line in lines]
    found = promise(wanted, on=today)
    for line, each in zip(lines, found, strict=True):
        line.promised_on = each.on
    return max((each.on for each in found if each.on is not None), default=today)


def _check_days(ordered_on: date, due_on: date) -> None:
    faults = Faults()
    take_day_outside(faults, "An order", ordered_on, "ordered_on")
    if due_on < ordered_on:
        faults.add("before-order", f"It was ordered on {ordered_on}.", "due_on")
    faults.raise_if_any(OrderRefusal)
