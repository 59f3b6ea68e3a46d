"""What a bar costs, as the walk shows it: a plan on three price bases, a made batch by line."""

from datetime import date
from decimal import Decimal

from costing.domain.prices.pricing import price_for_margin
from costing.queries.bar_cost.batches import cost_of_batch
from costing.queries.bar_cost.plans import PlanCosting, costs_of_plan
from recipes.queries.scaling.plans import Plan
from studio.foundation.money import parse_money
from studio.management.demo.tables import Printer, amount, money, percent

MADE = "B-00003"
MARGIN = Decimal("0.50")
ENDING = parse_money("0.05")


def show_costs(printer: Printer, plan: Plan, today: date) -> None:
    """One step of the walk: costs of the plan, of a made batch, and a first wholesale price."""
    printer.step(
        "What a bar costs",
        f"The planned batch on three price bases, then the made batch {MADE} line by line.",
    )
    printer.table(
        ["Price basis", ">Materials and packaging", ">Labor and overhead", ">Batch", ">Per bar"],
        (_basis_row(costing) for costing in costs_of_plan(plan, on=today)),
    )
    made = cost_of_batch(MADE)
    if made.bar is None:
        return
    printer.table(
        ["What", ">Used", ">Cost", ">Per bar"],
        (
            (
                part.line.name,
                _used(part.line.quantity, part.line.unit),
                money(part.line.cost),
                money(part.per_bar),
            )
            for part in made.bar.lines
        ),
        title=f"{made.code}: {made.bars} good bars, {made.rejects} rejected",
    )
    per_bar, total = made.bar.per_bar, made.cost.total
    if per_bar is None or total is None:
        printer.say(f"{made.code} cost at least {money(made.cost.at_least)}: {made.notes[0]}")
        return
    price = price_for_margin(per_bar, MARGIN, step=ENDING)
    printer.say(
        f"{made.code} cost {money(total)}: {money(per_bar)} a good bar. At a margin of "
        f"{percent(MARGIN, 0)} of the price, wholesale is {money(price)}.",
        style="bold",
    )


def _basis_row(costing: PlanCosting) -> tuple[str, ...]:
    kinds: dict[str, int] = {}
    for line in costing.cost.lines:
        kinds[line.kind.value] = kinds.get(line.kind.value, 0) + line.cost
    goods = kinds.get("material", 0) + kinds.get("packaging", 0)
    name = costing.basis.value.replace("_", " ").replace("-", " ")
    if costing.missing:
        name += " (prices missing: " + ", ".join(m.material.name for m in costing.missing) + ")"
    least = "" if costing.complete else "at least "
    return (
        name,
        money(goods),
        money(costing.cost.at_least - goods),
        f"{least}{money(costing.cost.at_least)}",
        f"{least}{money(costing.bar.at_least)}" if costing.bar else "-",
    )


def _used(quantity: int, unit: str) -> str:
    if not quantity:
        return ""
    return f"{quantity} min" if unit == "min" else amount(quantity, unit)
