"""What runs short is bought the cheapest way that can be proved, ordered, and partly received."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from inventory.queries.stock.on_order import find_order
from inventory.services.buying.order_papers import send_order
from inventory.services.buying.plans import BuyOptions, make_plan, order_plan
from inventory.services.receiving.against_orders import Arrived, OrderArrival, receive_order
from studio.foundation.errors import NotFound
from studio.management.demo.tables import Printer, amount, money

DAYS = 30
FIRST_ORDER = "P-00001"


def bought_before() -> bool:
    """Whether an earlier walk has ordered."""
    try:
        find_order(FIRST_ORDER)
    except NotFound:
        return False
    return True


def buy_what_runs_low(printer: Printer, today: date) -> None:
    """Plan, order and take in the first of the packs. What is on order counts at once."""
    printer.step(
        "Buy what runs short",
        "One mixed-integer program over all short materials, packs, minimum orders and lead "
        "times; the answer comes with its proof.",
    )
    plan = make_plan(BuyOptions(days=DAYS), on=today)
    found: Mapping[str, Any] = plan.found
    printer.table(
        ["From", "Material", ">Packs", ">Price", "Here on", "Why"],
        (
            (
                order["supplier"],
                line["name"],
                f"{line['packs']} x {line['pack_written']}",
                money(line["price"]),
                line["arrives_on"],
                line["reason"],
            )
            for order in found["orders"]
            for line in order["lines"]
        ),
    )
    cost, gap = found["cost"], found["gap"]
    if cost is not None:
        proof = "and nothing cheaper exists" if gap == 0 else f"at most {money(gap or 0)} too much"
        printer.say(f"In all {money(cost['total'])}, {proof}.", style="bold")
    _order(printer, plan.code, today)


def _order(printer: Printer, plan: str, today: date) -> None:
    for index, draft in enumerate(order_plan(plan)):
        order = send_order(draft.code, on=today, mail=False)
        told = f"{order.code} is placed with {order.supplier.name}"
        if index == 0:
            line = order.lines.order_by("position").first()
            if line is not None:
                arrived = Arrived(position=line.position, packs=1, supplier_lot="NEW-1")
                receive_order(order.code, OrderArrival(received_on=today, lines=[arrived]))
                got = amount(line.amount // line.packs, line.material.stock_unit)
                told += f"; a first pack came in: {got} of {line.material.name}"
        printer.say(told + ".")
