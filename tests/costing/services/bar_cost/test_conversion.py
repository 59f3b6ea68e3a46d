"""Labor and overhead on the lot that a batch made, on both databases."""

from datetime import timedelta
from decimal import Decimal

import pytest

from costing.domain.bar_cost.bar_cost import CostKind
from costing.domain.rates.rates import RateKind
from costing.errors import AlreadyCapitalized
from costing.models.bar_cost.conversion import Conversion
from costing.queries.bar_cost.batches import cost_of_batch
from costing.services.bar_cost.conversion import capitalize
from inventory.domain.stock.ledger import Verb
from inventory.errors import NotEnoughStock
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.services.stock.consumption import draw
from inventory.services.stock.ledger import Origin
from inventory.services.stock.proof import prove_books
from recipes.domain.formulas.formula import Basis
from recipes.models.bench.batches import Batch
from recipes.models.formulas.formulas import FormulaKind
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import make_plan
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.finishing import Cured, cure_batch
from recipes.services.formulas.formulas import LineSpec, VersionSpec, add_formula, add_version
from recipes.services.scaling.planning import Asked, plan_batch, wish_from
from tests.costing.making import (
    LABOR,
    PER_BATCH,
    PER_HOUR,
    cured,
    cut,
    make_free_rates,
    make_rate,
    make_rates,
)
from tests.inventory.making import KG, TODAY
from tests.recipes.making import make_bench, stock
from tests.threads import at_once

DAY = timedelta(days=1)


def test_what_came_in_is_what_was_used_and_what_is_left(database):
    """Conservation over the whole book: no cost appears and none is lost."""
    bench = make_bench()
    stock(bench)
    make_rates()
    code = cured(bench, good=7, rejected=1)
    bars = Lot.objects.get(code=code)
    received = sum(e.cost for e in StockEntry.objects.filter(verb="receive"))
    left = sum(lot.cost for lot in Lot.objects.exclude(pk=bars.pk))
    conversion = Conversion.objects.get(batch__code=code)
    assert received - left == bars.cost - conversion.labor - conversion.overhead
    assert prove_books().differences == ()


def test_cost_is_purchase_and_conversion(database):
    """IAS 2.10 and 2.12: materials and packaging, direct labor, a share of the overheads."""
    bench = make_bench()
    stock(bench)
    make_rates()
    code = cured(bench)
    bars = Lot.objects.get(code=code)
    takes = StockEntry.objects.filter(reference=f"batch:{code}", verb="consume").exclude(
        lot__code=f"{code}-poured"
    )
    conversion = Conversion.objects.get(batch__code=code)
    assert conversion.minutes == 60  # 40 at the pour, 20 at the end
    assert (conversion.labor_rate, conversion.labor) == (LABOR, LABOR)
    assert conversion.overhead == PER_BATCH + PER_HOUR
    assert bars.cost == -sum(e.cost for e in takes) + LABOR + PER_BATCH + PER_HOUR
    entry = StockEntry.objects.get(posting=conversion.posting)
    assert (entry.lot, entry.verb, entry.cost) == (bars, "add_cost", LABOR + PER_BATCH + PER_HOUR)


def test_the_rate_of_the_day_of_the_pour_counts(database):
    bench = make_bench()
    stock(bench)
    make_rates(since=TODAY - DAY)
    make_rate(RateKind.LABOR_HOUR, 2 * LABOR, since=TODAY)
    make_rate(RateKind.LABOR_HOUR, 9 * LABOR, since=TODAY + DAY)  # before the cut and the cure
    assert Conversion.objects.get(batch__code=cured(bench)).labor == 2 * LABOR


def test_a_later_rate_leaves_an_old_batch_as_it_was(database):
    bench = make_bench()
    stock(bench)
    make_rates()
    code = cured(bench)
    before = cost_of_batch(code).cost
    make_rate(RateKind.LABOR_HOUR, 5 * LABOR, since=TODAY)
    make_rate(RateKind.OVERHEAD_BATCH, 0, since=TODAY)
    assert cost_of_batch(code).cost == before
    assert Lot.objects.get(code=code).cost == before.total


def test_without_rates_nothing_is_added_and_it_is_not_known(database):
    bench = make_bench()
    stock(bench)
    code = cured(bench)
    conversion = Conversion.objects.get(batch__code=code)
    assert (conversion.labor, conversion.overhead, conversion.posting) == (0, 0, None)
    kept = {row.effort: (row.rate, row.cost) for row in conversion.efforts.all()}
    assert kept.pop("rack") == (None, 0)  # not told apart
    assert set(kept) == {"labor_mix", "labor_wrap", "batch", "labor_hour"}
    assert set(kept.values()) == {(None, None)}
    made = cost_of_batch(code)
    assert "labor hour, overhead batch, overhead labor hour" in made.notes[0]
    assert (made.bar.per_bar, made.cost.total, made.per_gram) == (None, None, None)
    assert made.cost.at_least == Lot.objects.get(code=code).cost == made.bar.cost_of_good


def test_a_rate_of_zero_is_an_answer(database):
    bench = make_bench()
    stock(bench)
    make_free_rates()
    made = cost_of_batch(cured(bench))
    assert made.notes == () and made.bar.per_bar == made.bar.at_least
    assert made.cost.of(CostKind.LABOR) == made.cost.of(CostKind.OVERHEAD) == 0


def test_a_batch_is_capitalized_once(database):
    bench = make_bench()
    stock(bench)
    make_rates()
    code = cured(bench)
    cost = Lot.objects.get(code=code).cost
    with pytest.raises(AlreadyCapitalized):
        capitalize(Batch.objects.select_related("bar_lot").get(code=code))
    assert Lot.objects.get(code=code).cost == cost
    assert Conversion.objects.count() == 1


def test_of_many_at_once_one_capitalizes(database):
    bench = make_bench()
    stock(bench)
    make_rates()
    code = cut(bench)
    before = Lot.objects.get(code=code).cost

    def once(_):
        return capitalize(Batch.objects.select_related("bar_lot").get(code=code))

    answers = at_once(once, range(6))
    assert sum(isinstance(answer, Conversion) for answer in answers) == 1
    assert sum(isinstance(answer, AlreadyCapitalized) for answer in answers) == 5
    assert Lot.objects.get(code=code).cost == before + Conversion.objects.get().labor + (
        Conversion.objects.get().overhead
    )
    assert prove_books().differences == ()


def test_when_the_cure_fails_nothing_is_capitalized(database):
    bench = make_bench()
    stock(bench)
    make_rates()
    code = cut(bench)
    with pytest.raises(NotEnoughStock):
        cure_batch(
            code, Cured(on=TODAY + 28 * DAY, packed={bench.materials["box"].pk: 10**6}, minutes=20)
        )
    assert not Conversion.objects.exists()


def test_bars_that_are_all_gone_carry_no_labor(database):
    """IAS 2.34: what is lost is an expense when it is lost."""
    bench = make_bench()
    stock(bench)
    make_rates()
    code = cut(bench)
    bars = Lot.objects.get(code=code)
    draw(bars.pk, bars.on_hand, verb=Verb.SPOIL, origin=Origin(reference="test"))
    batch = Batch.objects.select_related("bar_lot").get(code=code)
    conversion = capitalize(batch)
    assert conversion.labor > 0 and conversion.posting is None
    assert "expense" in conversion.note
    assert prove_books().differences == ()


def blended(bench, *, minutes=30):
    """A kilogram of two fats mixed ahead."""
    formula = add_formula(code="fat-mix", name="Fat mix", kind=FormulaKind.BLEND)
    lines = [
        LineSpec(material=bench.materials[code], basis=Basis.OF_BATTER, amount=Decimal("0.5"))
        for code in ("olive", "coconut")
    ]
    add_version(formula, VersionSpec(lines=lines))
    plan = make_plan(load_formula(code="fat-mix"), wish_from(Asked(batter_ng=KG)))
    batch = plan_batch(plan, planned_on=TODAY)
    reserve_batch(batch.code)
    return pour_batch(batch.code, Poured(on=TODAY, minutes=minutes))


def test_what_is_made_ahead_carries_its_own_labor(database):
    """IAS 2.12: conversion belongs to the units made; a blend is what its labor made.

    Overhead by the batch belongs to the soap that it is made for, overhead by the hour goes along.
    """
    bench = make_bench()
    stock(bench)
    make_rates()
    made = blended(bench)
    used = sum(take.cost for take in made.taken)
    whole = used + LABOR // 2 + PER_HOUR // 2
    assert made.lot.cost == Lot.objects.get(pk=made.lot.pk).cost == whole
    costing = cost_of_batch(made.batch.code)
    assert (costing.cost.total, costing.bar, costing.provisional) == (whole, None, False)
    kept = made.batch.conversion.efforts.values_list("effort", flat=True)
    assert set(kept) == {"labor_mix", "labor_hour"}
    assert prove_books().differences == ()
