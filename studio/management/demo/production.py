"""One batch from the plan to released bars: weighed line by line, poured, cut, cured, labeled.

It began long enough ago to be cured today. As in the rest of the walk, a step that was done in an
earlier walk is only shown.
"""

from datetime import date, timedelta
from decimal import Decimal

from recipes.domain.formulas.formula import Stage
from recipes.queries.cure.cure import cure_of
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.labels.net_weight import NetWeightQuestion, net_weight_of
from recipes.queries.molds.molds import mold_by_code
from recipes.queries.scaling.plans import Wish, make_plan
from recipes.services.bench.actuals import BenchRecord, Reading, record_bench, weigh_line
from recipes.services.bench.as_made import actuals_of
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.cure import DayOfWeighing, weigh_bars
from recipes.services.cure.finishing import Cured, Cut, cure_batch, cut_batch
from recipes.services.scaling.planning import plan_batch
from studio.foundation.units.registry import NG_PER_G
from studio.management.demo.reserving import batch_exists, reserve_and_accept
from studio.management.demo.tables import Printer, amount, percent

BATCH = "DEMO-MILK"
RECIPE, MOLD = "milk-and-oats", "short-loaf"
BEGAN_DAYS_AGO = 45
CURED_AFTER = 40
#: What the scale showed off the plan, in grams, by the place of the line.
OFF = {0: 2, 1: -1, 2: 1}
#: Days after the cut -> grams of the three sample bars.
WEIGHINGS = {
    1: (142, 143, 141),
    4: (138, 139, 137),
    7: (135, 136, 134),
    14: (130, 131, 129),
    21: (127, 128, 126),
    28: (125, 126, 124),
    34: (124, 125, 123),
}


def make_for_real(printer: Printer, today: date) -> None:
    """Plan, reserve, weigh, pour, cut, weigh the cure and release, then what may be declared."""
    began = today - timedelta(days=BEGAN_DAYS_AGO)
    printer.step(
        f"A batch made for real: {BATCH}",
        "Weighed line by line, with what the scale showed; the superfat is that of the weights.",
    )
    if not batch_exists(BATCH):
        _make(began)
    _show_actuals(printer)
    _show_cure(printer)


def _make(began: date) -> None:
    plan = make_plan(load_formula(code=RECIPE), Wish(mold=mold_by_code(MOLD)))
    plan_batch(plan, planned_on=began, code=BATCH, note="Invented for the demonstration.")
    reserve_and_accept(BATCH)
    for row in actuals_of(BATCH).lines:
        line = row.row
        if line.stage != Stage.PACK.value:
            off = OFF.get(line.position, 0) * NG_PER_G
            weigh_line(BATCH, Reading(position=line.position, amount=line.planned + off))
    record_bench(
        BATCH,
        BenchRecord(
            oil_temperature_c=Decimal(38),
            lye_temperature_c=Decimal(36),
            poured_temperature_c=Decimal(37),
            trace_minutes=6,
        ),
    )
    pour_batch(BATCH, Poured(on=began, minutes=80))
    cut = Cut(on=began + timedelta(days=1), bars_good=9, ends_weight=20 * NG_PER_G, minutes=15)
    cut_batch(BATCH, cut)
    for day, grams in WEIGHINGS.items():
        weights = {bar: weight * NG_PER_G for bar, weight in enumerate(grams, start=1)}
        weigh_bars(BATCH, DayOfWeighing(on=cut.on + timedelta(days=day), weights=weights))
    cure_batch(BATCH, Cured(on=began + timedelta(days=CURED_AFTER), minutes=20))


def _show_actuals(printer: Printer) -> None:
    made = actuals_of(BATCH)
    printer.table(
        ["Weighed", ">Planned", ">Actual", ">Off"],
        (
            (
                line.row.material.name,
                amount(line.row.planned, line.row.material.stock_unit),
                amount(line.actual, line.row.material.stock_unit),
                "" if line.actual == line.row.planned else _off(line.actual - line.row.planned),
            )
            for line in made.lines
            if line.actual is not None
        ),
    )
    batch = made.batch
    planned, poured = batch.superfat, batch.superfat_poured
    if planned is not None and poured is not None:
        printer.say(
            f"Superfat by the nominal values {percent(planned)}, as poured with the lots' "
            f"certificates {percent(poured)}."
        )


def _off(difference: int) -> str:
    return f"{difference / NG_PER_G:+,.0f} g"


def _show_cure(printer: Printer) -> None:
    cure = cure_of(BATCH)
    printer.table(
        ["Weighed on", ">Bar 1", ">Bar 2", ">Bar 3"],
        (
            (on.isoformat(), *(amount(w.weight_ng, "g") for w in cure.weighings if w.on == on))
            for on in sorted({weighing.on for weighing in cure.weighings})
        ),
        title="Sample bars while they cure",
    )
    if cure.predicted is not None:
        printer.say(
            f"The drying curve: less than {percent(cure.limit)} a week from {cure.predicted.on}; "
            f"by the recipe the cure was over on {cure.default_on}."
        )
    answer = net_weight_of(BATCH, NetWeightQuestion())
    printer.say(
        f"The bars may declare {amount(answer.label.label, 'g')} net on {answer.sale_on} "
        "(average and maximum allowable variation; a draft, check it against local law).",
        style="bold",
    )
