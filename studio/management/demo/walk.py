"""The main job, walked through on the invented studio: from a delivery to a cost per bar.

Each step looks first whether it was done before, so that walking again changes nothing.
"""

from collections.abc import Sequence
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from costing.domain.prices.pricing import price_for_margin
from costing.queries.bar_cost.batches import cost_of_batch
from costing.queries.bar_cost.plans import PlanCosting, costs_of_plan
from costing.services.orders.proof import prove_sales
from inventory.domain.catalog.certificate import Certificate
from inventory.domain.receiving.landed_cost import Basis, Charge, ChargeKind
from inventory.queries.receiving.deliveries import find_delivery
from inventory.services.receiving.deliveries import receive_delivery
from inventory.services.receiving.received import Received, ReceivedLine
from inventory.services.stock.proof import prove_books
from recipes.domain.formulas.formula import Stage
from recipes.queries.bench.batches import batch_by_code
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.molds.molds import mold_by_code
from recipes.queries.scaling.plans import Plan, Wish, make_plan
from recipes.services.bench.sheets import Sheet, sheet_of
from recipes.services.bench.shelf import ShelfLine, check_shelf
from recipes.services.molds.molds import add_mold
from recipes.services.scaling.planning import plan_batch
from studio.foundation.errors import NotFound
from studio.foundation.money import parse_money
from studio.foundation.units.conversion import length_nm
from studio.foundation.units.grammar import parse_quantity
from studio.foundation.units.registry import NG_PER_G, Dimension
from studio.management.demo.reserving import batch_exists, reserve_and_accept
from studio.management.demo.tables import Printer, amount, money, per_kg, percent

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


BATCH = "DEMO-MINT"
MOLD = "market-slab"
RECIPE = "green-mint"
OLIVE_INVOICE, MINT_INVOICE = "N-4402", "FL-21033"


def walk(printer: Printer, *, today: date) -> None:
    """All steps but the alerts, which want a worker."""
    _receive(printer, today)
    plan = _scale(printer)
    _check(printer, plan, today)
    _reserve(printer, plan, today)
    _sheet(printer)
    show_costs(printer, plan, today)


def prove(printer: Printer) -> None:
    """The books add up, or the walk fails."""
    proof, sales = prove_books(), prove_sales()
    printer.say(
        f"Books proved: {proof.lots} lots, {proof.entries} ledger entries, "
        f"{len(proof.differences)} differences."
    )
    printer.say(f"Orders and shipments agree with the ledger: {len(sales)} differences.")


def _receive(printer: Printer, today: date) -> None:
    printer.step(
        "Receive a delivery in gallons and pounds",
        "The invoice is in the supplier's units; freight is spread by weight and the discount by "
        "value, so each lot carries what it really cost.",
    )
    lines = [
        ReceivedLine(
            offer="northfold-olive-gal",
            packs=2,
            supplier_lot="OV-311",
            certificate=Certificate(sv_mg_koh_g=Decimal("190.1")),
        ),
        ReceivedLine(offer="northfold-palm-kernel-10lb", packs=1, supplier_lot="PK-40"),
    ]
    charges = [
        Charge(kind=ChargeKind.FREIGHT, amount=parse_money("15.60"), basis=Basis.WEIGHT),
        Charge(kind=ChargeKind.DISCOUNT, amount=-parse_money("4.00")),
    ]
    delivery = _delivery("northfold", OLIVE_INVOICE, lines, charges, today)
    printer.table(
        ["Lot", "Material", ">As written", ">Weighs", ">Price", ">Landed", ">Per kg"],
        (
            (
                line.lot.code,
                line.material.name,
                f"{line.packs} x {line.written}",
                amount(line.amount, line.material.stock_unit),
                money(line.price),
                money(line.landed_cost),
                per_kg(line.landed_cost, line.amount),
            )
            for line in delivery.lines.all()
        ),
    )


def _delivery(
    supplier: str, invoice: str, lines: Sequence[ReceivedLine], charges: Sequence[Charge], day: date
) -> Any:
    if find_delivery(supplier=supplier, invoice=invoice) is None:
        receive_delivery(
            Received(
                supplier=supplier,
                received_on=day,
                invoice=invoice,
                lines=lines,
                charges=charges,
                note="Invented for the demonstration.",
            )
        )
    return find_delivery(supplier=supplier, invoice=invoice)


def _scale(printer: Printer) -> Plan:
    printer.step(
        f"Scale '{RECIPE}' to a new mold",
        "A slab of 20 x 12 in, filled 1 1/4 in high and cut into 5 x 6 bars.",
    )
    try:
        mold = mold_by_code(MOLD)
    except NotFound:
        mold = add_mold(
            code=MOLD,
            name="Market slab",
            shape="rectangular",
            length=_length("20 in"),
            width=_length("12 in"),
            depth=_length("2 in"),
            fill_height=_length("1 1/4 in"),
            overfill_share=Decimal("0.03"),
            rows=6,
            columns=5,
        )
    plan = make_plan(load_formula(code=RECIPE), Wish(mold=mold))
    printer.table(
        ["Stage", "Material", ">Exact", ">Weigh", "On"],
        (
            (
                line.stage.value,
                line.material.name,
                f"{Decimal(line.exact_ng) / NG_PER_G:,.1f} g" if not line.material.counted else "",
                amount(line.amount, line.material.stock_unit),
                line.weighed.name if line.weighed else "",
            )
            for line in plan.lines
        ),
    )
    _figures(printer, plan)
    return plan


def _figures(printer: Printer, plan: Plan) -> None:
    scaled = plan.scaled
    if scaled is None:
        return
    printer.table(
        ["What results", ">"],
        [
            ("Fats", amount(scaled.fats_ng, "g")),
            ("Batter", amount(scaled.batter_ng, "g")),
            ("Batter density at the pour", f"{scaled.density_g_ml:.3f} g/mL"),
            ("Lye concentration", percent(scaled.lye_concentration)),
            ("Superfat, after rounding to the scales", percent(scaled.superfat)),
            ("Superfat, every fat at its lowest value", percent(scaled.worst_superfat)),
            (
                "Bars, and the poured weight of one",
                f"{plan.bars} x {amount(plan.bar_weight_ng, 'g')}",
            ),
        ],
    )
    for notice in scaled.notices:
        printer.say(f"Notice: {notice.message}")


def _check(printer: Printer, plan: Plan, today: date) -> None:
    printer.step("Does the shelf cover it?", "Released stock that is not reserved, by material.")
    if batch_exists(BATCH):
        printer.say("It is reserved already; the shelf was checked in an earlier walk.")
        return
    lines = check_shelf(plan.needs, plan.materials, on=today)
    _shelf_table(printer, lines)
    short = [line for line in lines if line.short]
    for line in short:
        printer.say(
            f"Short: {line.material.name}, {amount(line.short, line.material.stock_unit)}. "
            f"An order today could be here on {line.covered_on}.",
            style="bold",
        )
    if short:
        printer.say("The cure: the next delivery brings a bottle of 8 fl oz.")
        bottle = ReceivedLine(
            offer="fennel-peppermint-8floz",
            supplier_lot="PM-160",
            certificate=Certificate(ifra_category9_max=Decimal("0.041")),
        )
        _delivery("fennel-lane", MINT_INVOICE, [bottle], [], today)
        after = check_shelf(plan.needs, plan.materials, on=today)
        _shelf_table(
            printer, [line for line in after if line.material in {s.material for s in short}]
        )


def _shelf_table(printer: Printer, lines: Sequence[ShelfLine]) -> None:
    printer.table(
        ["Material", ">Needed", ">Available", ">Short", "Lots to take"],
        (
            (
                line.material.name,
                amount(line.needed, line.material.stock_unit),
                amount(line.available, line.material.stock_unit),
                amount(line.short, line.material.stock_unit) if line.short else "",
                ", ".join(pick.lot.code for pick in line.picks),
            )
            for line in lines
        ),
    )


def _reserve(printer: Printer, plan: Plan, today: date) -> None:
    printer.step(
        "Plan the batch and reserve it by lot",
        "All or nothing, first expired first out; the lye is checked with the lots' own values.",
    )
    if not batch_exists(BATCH):
        plan_batch(
            plan,
            planned_on=today + timedelta(days=3),
            code=BATCH,
            note="Invented for the demonstration.",
        )
    if batch_by_code(BATCH).state == "planned":
        reserved = reserve_and_accept(BATCH, told=printer.say)
        if reserved.safety is not None:
            printer.say(
                f"Superfat with the certificates of these lots: {percent(reserved.safety.superfat)}"
            )
    sheet = sheet_of(BATCH)
    printer.table(
        ["Lot", "Material", ">Reserved"],
        (
            (lot.lot, line.row.material.name, amount(lot.amount, line.row.material.stock_unit))
            for line in sheet.lines
            for lot in line.lots
        ),
        title=f"Batch {BATCH}, planned for {sheet.batch.planned_on}",
    )


def _sheet(printer: Printer) -> None:
    sheet = sheet_of(BATCH)
    printer.step(f"The batch sheet of {BATCH}", "Read before weighing:")
    for caution in sheet.cautions:
        printer.say(f"  ! {caution.text}", style="bold")
    for stage in Stage:
        _stage_table(printer, sheet, stage)


def _stage_table(printer: Printer, sheet: Sheet, stage: Stage) -> None:
    if not sheet.of(stage):
        return
    printer.table(
        ["Weigh", ">Amount", "From lot", "Actual"],
        (
            (
                line.row.material.name,
                amount(line.row.planned, line.row.material.stock_unit),
                ", ".join(lot.lot for lot in line.lots),
                ""
                if line.actual.actual is None
                else amount(line.actual.actual, line.row.material.stock_unit),
            )
            for line in sheet.of(stage)
        ),
        title=f"Stage: {stage.value}",
    )


def _length(text: str) -> int:
    return length_nm(parse_quantity(text, Dimension.LENGTH))
