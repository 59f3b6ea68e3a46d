"""Batches against their plans, molds against molds, batch against batch; on both databases."""

from datetime import date, timedelta
from fractions import Fraction

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from costing.domain.bar_cost.bar_cost import CostKind
from costing.domain.rates.rates import RateKind
from costing.errors import BatchNotFinished, StandardNotKept
from costing.models.bar_cost.conversion import StandardCost
from costing.models.rates.rates import Rate
from costing.queries.bar_cost.batches import cost_of_batch
from costing.queries.bar_cost.plans import costs_of_plan
from costing.queries.bar_cost.price_basis import PriceBasis
from costing.queries.bar_cost.recipe_costs import cost_spread, mold_costs
from costing.queries.bar_cost.variances import variances_of
from costing.services.bar_cost.labor_standards import StandardDescription, save_standard
from inventory.models.catalog.suppliers import Offer, Supplier
from inventory.models.stock.lots import Lot, LotLink
from recipes.models.molds.molds import Mold
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import Wish, make_plan
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.finishing import Cured, Cut, cure_batch, cut_batch
from studio.foundation.errors import NotFound
from tests.costing.making import LABOR, UNIT, cured, cut, make_rate, make_rates
from tests.inventory.making import KG, TODAY, make_lot
from tests.recipes.making import make_bench, planned, stock

JANUARY = date(2026, 1, 1)


@pytest.fixture
def bench(database):
    made = make_bench()
    make_rates()
    stock(made)
    return made


def standard(**values):
    return save_standard(StandardDescription(effective_from=JANUARY, **values))


def made_with(bench, *, olive=None, good=8, minutes=(40, 10, 20)):
    """A batch that used so much more olive oil; minutes are of mixing, cutting and wrapping."""
    batch = planned(bench)
    reserve_batch(batch.code)
    row = batch.lines.get(material=bench.materials["olive"])
    actual = {} if olive is None else {row.position: row.planned + olive}
    pour_batch(batch.code, Poured(on=TODAY, minutes=minutes[0], actual=actual))
    on = TODAY + timedelta(days=1)
    cut_batch(batch.code, Cut(on=on, bars_good=good, bars_rejected=8 - good, minutes=minutes[1]))
    cure_batch(batch.code, Cured(on=TODAY + timedelta(days=28), minutes=minutes[2]))
    return batch.code


def of(found, code):
    return next(each for each in found.found.inputs if each.code == code)


def test_the_plan_keeps_its_cost_and_the_variances_add_up(bench):
    standard(mix_minutes=30, cut_minutes=10, wrap_seconds_per_bar=150)
    code = made_with(bench, olive=KG // 100, good=7)
    found = variances_of(code)
    made = cost_of_batch(code)
    sums = found.found
    assert sums.actual_cost == made.cost.total
    assert sums.price() + sums.usage() + sums.yield_ == sums.actual_cost - sums.allowed
    # 10 minutes of mixing more than planned, at 24.00; cutting and wrapping as planned.
    assert of(found, "labor-mix").usage == LABOR // 6
    assert (of(found, "labor-cut").total, of(found, "labor-wrap").total) == (0, 0)
    # 10 g of olive oil more at 5.0000 for 5 kg; at the same price.
    olive = of(found, "olive")
    assert (olive.price, olive.usage) == (0, 100)
    assert sums.yield_ == sums.planned_cost - round(Fraction(sums.planned_cost * 7, 8))


def test_a_dearer_lot_is_a_price_variance(bench):
    batch = planned(bench)
    lot = Lot.objects.get(material=bench.materials["olive"])
    make_lot(
        bench.materials["olive"],
        5 * KG,
        3 * lot.cost,
        best_before=timezone.localdate() + timedelta(days=30),
    )
    reserve_batch(batch.code)
    pour_batch(batch.code, Poured(on=TODAY, minutes=90))
    cut_batch(batch.code, Cut(on=TODAY, bars_good=8))
    cure_batch(batch.code, Cured(on=TODAY + timedelta(days=28)))
    found = variances_of(batch.code)
    olive = of(found, "olive")
    assert olive.usage == 0 and olive.price == 2 * olive.planned_cost
    assert found.found.total == olive.price  # 90 minutes as planned, eight bars


def test_a_rate_that_rose_between_plan_and_pour_is_a_rate_variance(bench):
    batch = planned(bench)
    make_rate(RateKind.LABOR_HOUR, 2 * LABOR, since=TODAY)
    reserve_batch(batch.code)
    pour_batch(batch.code, Poured(on=TODAY, minutes=90))
    cut_batch(batch.code, Cut(on=TODAY, bars_good=8))
    cure_batch(batch.code, Cured(on=TODAY + timedelta(days=28)))
    labor = of(variances_of(batch.code), "labor")
    assert (labor.price, labor.usage) == (LABOR * 3 // 2, 0)


def test_what_had_no_price_at_planning_is_told(database):
    bench = make_bench()
    make_rates()
    batch = planned(bench)
    stock(bench)
    reserve_batch(batch.code)
    pour_batch(batch.code, Poured(on=TODAY, minutes=90))
    cut_batch(batch.code, Cut(on=TODAY, bars_good=8))
    cure_batch(batch.code, Cured(on=TODAY + timedelta(days=28)))
    found = variances_of(batch.code)
    assert of(found, "olive").price == 0 and any("Olive" in note for note in found.notes)


def test_what_was_made_here_without_a_rate_is_told_as_too_low(bench):
    """An oil that another batch, which waits for its rates, was infused into."""
    code = cured(bench)
    note = "the cost of these is too low: Olive."
    assert not any(note in each for each in variances_of(code).notes)
    Rate.objects.all().delete()
    waiting = Lot.objects.get(code=cured(bench))
    LotLink.objects.create(parent=waiting, child=Lot.objects.get(material__code="olive"), amount=1)
    assert any(note in each for each in variances_of(code).notes)
    assert set(cost_of_batch(code).notes) & set(variances_of(code).notes)


def test_a_batch_is_compared_once_it_is_finished_and_has_a_standard(bench):
    with pytest.raises(BatchNotFinished):
        variances_of(cut(bench))
    code = cured(bench)
    with CaptureQueriesContext(connection) as queries:
        variances_of(code)
    assert len(queries) <= 11
    StandardCost.objects.filter(batch__code=code).delete()
    with pytest.raises(StandardNotKept):
        variances_of(code)


def test_the_spread_is_over_the_last_batches_by_the_books(bench):
    codes = [made_with(bench, good=good) for good in (8, 7, 6)]
    [spread] = cost_spread("plain", last=2)
    assert [each.batch for each in spread.batches] == codes[:0:-1]
    for each in spread.batches:
        assert each.cost == cost_of_batch(each.batch).bar.cost_of_good
    assert spread.spread.highest == spread.batches[0].per_bar
    with CaptureQueriesContext(connection) as queries:
        cost_spread("plain", last=100)
    assert len(queries) == 5
    with pytest.raises(NotFound):
        cost_spread("nothing", last=3)


def test_the_next_mold_up_spreads_its_set_up_over_more_bars(bench):
    for code, length in (("long", 480), ("double", 960)):
        Mold.objects.create(
            code=code,
            name=code,
            shape="rectangular",
            length=length * 1_000_000,
            width=70_000_000,
            depth=60_000_000,
            rows=length // 30,
        )
    standard(mix_minutes=60, wrap_seconds_per_bar=30)
    found = mold_costs("plain", on=TODAY, basis=PriceBasis.MOVING_AVERAGE)
    assert [(each.mold, each.bars) for each in found.molds] == [
        ("loaf", 8), ("long", 16), ("double", 32),
    ]  # fmt: skip
    loaf, long, double = found.molds
    assert loaf.saving is None and double.saving.against == "long"
    # An hour of labor and its overhead, and 5.00 a batch: 32.00 over 8 bars, then over 16.
    assert long.saving.set_up == 32 * UNIT // 16
    assert sum(long.saving.by_kind.values()) == long.saving.total == loaf.per_bar - long.per_bar
    assert long.saving.by_kind[CostKind.LABOR] > 0
    plan = make_plan(load_formula(code="plain"), Wish(mold=Mold.objects.get(code="long")))
    (alone,) = costs_of_plan(plan, bases=(PriceBasis.MOVING_AVERAGE,), on=TODAY)
    assert alone.bar.per_bar == long.per_bar


@pytest.mark.parametrize("basis", list(PriceBasis))
def test_more_molds_ask_no_more_queries(bench, basis):
    supplier = Supplier.objects.create(code="mill", name="The Mill")
    for code, material in bench.materials.items():
        Offer.objects.create(
            code=code,
            supplier=supplier,
            material=material,
            pack_written="made up",
            pack_amount=100 if material.counted else KG,
            price=UNIT,
        )
    with CaptureQueriesContext(connection) as few:
        mold_costs("plain", on=TODAY, basis=basis)
    for number in range(6):
        Mold.objects.create(
            code=f"more-{number}",
            name="More",
            shape="rectangular",
            length=240_000_000,
            width=70_000_000,
            depth=60_000_000,
            rows=8 + number,
        )
    with CaptureQueriesContext(connection) as many:
        assert len(mold_costs("plain", on=TODAY, basis=basis).molds) == 7
    assert len(few) == len(many) <= 13


def test_a_gram_costs_by_the_cured_weight(bench):
    code = made_with(bench)
    made = cost_of_batch(code)
    poured = Lot.objects.get(code=f"{code}-poured").received_amount
    assert made.bar_weight.by == "poured"
    assert made.bar_weight.weight == Fraction(poured, 8) * Fraction(9, 10)
