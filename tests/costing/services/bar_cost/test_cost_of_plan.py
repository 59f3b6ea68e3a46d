"""What a plan would cost on each price basis, on both databases."""

from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from costing.domain.bar_cost.bar_cost import CostKind
from costing.queries.bar_cost.batches import cost_of_batch
from costing.queries.bar_cost.plans import costs_of_plan
from costing.queries.bar_cost.price_basis import PriceBasis
from inventory.domain.stock.lots import LotState
from inventory.models.catalog.suppliers import Offer, Supplier
from recipes.domain.formulas.formula import Basis, Stage
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import make_plan
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.bench.shelf import check_shelf
from recipes.services.formulas.formulas import LineSpec, VersionSpec
from recipes.services.scaling.planning import Asked, plan_batch, wish_from
from tests.costing.making import LABOR, PER_BATCH, PER_HOUR, make_rates
from tests.inventory.making import KG, TODAY, make_lot
from tests.recipes.making import make_bench, next_version, stock

PICKED, AVERAGE = PriceBasis.PICKED_LOTS, PriceBasis.MOVING_AVERAGE
REPLACEMENT = PriceBasis.REPLACEMENT
THREE_PERCENT = Decimal("0.03")


def cost_of_plan(plan, *, basis, on):
    return costs_of_plan(plan, on=on, bases=(basis,))[0]


@pytest.fixture
def bench(database):
    made = make_bench()
    make_rates()
    return made


def plan_of(**asked):
    return make_plan(load_formula(code="plain"), wish_from(Asked(**(asked or {"mold": "loaf"}))))


def offer(material, code, price, pack, **values):
    supplier, _ = Supplier.objects.get_or_create(code="mill", defaults={"name": "The Mill"})
    return Offer.objects.create(
        code=code,
        supplier=supplier,
        material=material,
        pack_written="made up",
        pack_amount=pack,
        price=price,
        **values,
    )


def line_of(costing, code):
    return next(line for line in costing.cost.lines if line.code == code)


def test_on_picked_lots_a_plan_costs_what_its_batch_then_takes(bench):
    stock(bench)
    soon = timezone.localdate() + timedelta(days=30)
    make_lot(bench.materials["olive"], KG // 10, 90_001, best_before=soon)
    plan = plan_of()
    costing = cost_of_plan(plan, basis=PICKED, on=timezone.localdate())
    batch = plan_batch(plan, planned_on=TODAY)
    reserve_batch(batch.code)
    taken = pour_batch(batch.code, Poured(on=TODAY)).taken
    assert costing.cost.of(CostKind.MATERIAL) == sum(take.cost for take in taken)
    assert costing.complete and costing.notes == ()
    assert costing.cost.of(CostKind.LABOR) == LABOR * 3 // 2  # the version's 90 minutes
    assert costing.cost.of(CostKind.OVERHEAD) == PER_BATCH + PER_HOUR * 3 // 2
    made = cost_of_batch(batch.code)
    kinds = (CostKind.MATERIAL, CostKind.PACKAGING, CostKind.LABOR, CostKind.OVERHEAD)
    assert [costing.cost.of(k) for k in kinds] == [made.cost.of(k) for k in kinds]


def test_picked_lots_are_those_of_the_shelf_check(bench):
    stock(bench)
    make_lot(bench.materials["olive"], KG // 5, 5, best_before=date(2199, 1, 1))
    plan = plan_of()
    costing = cost_of_plan(plan, basis=PICKED, on=TODAY)
    for shelf in check_shelf(plan.needs, plan.materials, on=TODAY):
        codes = ", ".join(picked.lot.code for picked in shelf.picks)
        assert line_of(costing, shelf.material.code).origin == codes


def test_what_no_lot_covers_is_named_with_its_amount_and_not_guessed(bench):
    stock(bench)
    plan = plan_of(fats_ng=10 * KG, bars=80)
    costing = cost_of_plan(plan, basis=PICKED, on=TODAY)
    missing = {each.material.code: each.amount for each in costing.missing}
    assert missing == {"olive": 2 * KG}
    assert line_of(costing, "olive").cost == 50_000  # all of the one lot
    assert not costing.complete


def test_blocked_and_reserved_stock_is_not_picked(bench):
    stock(bench, state=LotState.BLOCKED, state_reason="smells")
    costing = cost_of_plan(plan_of(), basis=PICKED, on=TODAY)
    assert {each.material.code for each in costing.missing} == set(bench.materials)
    assert (costing.cost.of(CostKind.MATERIAL), costing.bar.per_bar) == (None, None)


def test_an_expired_lot_hides_no_fresh_one(bench):
    olive = bench.materials["olive"]
    make_lot(olive, 5 * KG, 10**9, best_before=TODAY - timedelta(days=1))
    fresh = make_lot(olive, 5 * KG, 50_000, best_before=TODAY)
    line = line_of(cost_of_plan(plan_of(fats_ng=KG), basis=PICKED, on=TODAY), "olive")
    assert (line.origin, line.cost) == (fresh.code, 7_000)


def test_the_moving_average_is_over_all_usable_lots(bench):
    """IAS 2.25: weighted average; 5 kg at 5.00 and 5 kg at 15.00 make 2.00 a kilogram."""
    stock(bench)
    make_lot(bench.materials["olive"], 5 * KG, 150_000)
    make_lot(bench.materials["olive"], 5 * KG, 10**9, state=LotState.QUARANTINE)
    make_lot(bench.materials["olive"], 5 * KG, 10**9, best_before=TODAY - timedelta(days=1))
    costing = cost_of_plan(plan_of(fats_ng=KG, bars=8), basis=AVERAGE, on=TODAY)
    assert line_of(costing, "olive").cost == 14_000  # 700 g
    assert costing.complete


def test_the_average_reaches_beyond_what_is_held_but_not_to_what_is_not(bench):
    make_lot(bench.materials["olive"], KG, 20_000)
    costing = cost_of_plan(plan_of(fats_ng=10 * KG, bars=80), basis=AVERAGE, on=TODAY)
    assert line_of(costing, "olive").cost == 140_000
    named = {each.material.code for each in costing.missing}
    assert named == set(bench.materials) - {"olive"}


def test_replacement_takes_the_best_current_offer(bench):
    olive = bench.materials["olive"]
    offer(olive, "small", 12_000, KG)
    offer(olive, "large", 50_000, 5 * KG)
    offer(olive, "over", 1, KG, valid_until=TODAY - timedelta(days=1))
    offer(olive, "later", 1, KG, valid_from=TODAY + timedelta(days=1))
    offer(olive, "closed", 1, KG, active=False)
    costing = cost_of_plan(plan_of(fats_ng=KG, bars=8), basis=REPLACEMENT, on=TODAY)
    line = line_of(costing, "olive")
    assert (line.cost, line.origin) == (7_000, "large")
    assert {m.material.code for m in costing.missing} == set(bench.materials) - {"olive"}


def test_a_material_of_several_lines_is_split_over_them_without_loss(bench):
    olive = bench.materials["olive"]
    spec = VersionSpec(
        lines=[
            LineSpec(material=olive, basis=Basis.SHARE_OF_FATS, amount=Decimal(1)),
            LineSpec(material=olive, basis=Basis.OF_FATS, amount=THREE_PERCENT, stage=Stage.TRACE),
        ],
        naoh=bench.materials["naoh"],
        water=bench.materials["water"],
        superfat=THREE_PERCENT,
        lye_concentration=Decimal("0.3"),
    )
    next_version(bench.formula, spec)
    make_lot(olive, 5 * KG, 33_333)
    plan = plan_of(fats_ng=KG, bars=8)
    costing = cost_of_plan(plan, basis=PICKED, on=TODAY)
    parts = [line.cost for line in costing.cost.lines if line.code == "olive"]
    assert len(parts) == 2
    assert sum(parts) == round(33_333 * plan.needs[olive.pk] / (5 * KG))


def test_packaging_is_apart_from_the_soap(bench):
    stock(bench)
    costing = cost_of_plan(plan_of(), basis=AVERAGE, on=TODAY)
    assert line_of(costing, "box").kind is CostKind.PACKAGING
    assert costing.cost.of(CostKind.PACKAGING) == 8 * 500


def test_the_cost_of_a_bar_adds_up_and_needs_bars(bench):
    stock(bench)
    for costing in costs_of_plan(plan_of(), on=TODAY):
        assert sum(line.per_bar for line in costing.bar.lines) == costing.bar.per_bar
    (no_bars,) = costs_of_plan(plan_of(fats_ng=KG), on=TODAY, bases=(PICKED,))
    assert no_bars.bar is None


def test_rates_that_are_missing_that_day_are_named(bench):
    stock(bench)
    costing = cost_of_plan(plan_of(), basis=PICKED, on=date(2025, 12, 31))
    assert "labor hour" in costing.notes[0]
    assert costing.cost.of(CostKind.LABOR) is costing.cost.of(CostKind.OVERHEAD) is None
    assert (costing.cost.total, costing.bar.per_bar, costing.complete) == (None, None, False)
    assert costing.bar.at_least == round(Fraction(costing.cost.at_least, 8))


@pytest.mark.parametrize("bases", [(PICKED,), (AVERAGE,), (REPLACEMENT,), tuple(PriceBasis)])
def test_a_query_for_each_basis_and_three_for_rates_standards_and_what_is_unknown(bench, bases):
    stock(bench)
    plan = plan_of()
    with CaptureQueriesContext(connection) as captured:
        costs_of_plan(plan, on=TODAY, bases=bases)
    assert len(captured.captured_queries) == len(bases) + 3 + (
        REPLACEMENT in bases
    )  # and one for what nobody offers
