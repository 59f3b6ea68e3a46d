"""Rates that came late, on both databases: entered once, on what is left, by whom and when."""

from datetime import timedelta
from fractions import Fraction

import pytest

from costing.domain.rates.rates import RateKind
from costing.models.bar_cost.conversion import Conversion, LateConversion
from costing.models.rates.rates import Rate
from costing.queries.bar_cost.batches import cost_of_batch
from costing.queries.bar_cost.late_rates import waiting_batches
from costing.queries.bar_cost.not_known import lots_not_known
from costing.queries.bar_cost.product_costs import product_costs
from costing.queries.bar_cost.recipe_costs import cost_spread
from costing.services.bar_cost.late_rates import post_late_rates
from inventory.domain.stock.ledger import Verb
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot, LotLink
from inventory.services.stock.consumption import draw
from inventory.services.stock.ledger import Origin
from inventory.services.stock.proof import prove_books
from tests.costing.making import LABOR, PER_BATCH, PER_HOUR, cured, make_rate, make_rates
from tests.costing.priced import offered
from tests.costing.selling import a_product
from tests.inventory.making import TODAY, make_lot
from tests.recipes.making import make_bench, stock
from tests.studio.web.api.people import person
from tests.threads import at_once

LATER = TODAY + timedelta(days=60)
#: An hour of work, as `cured` does it, and one batch.
WHOLE = LABOR + PER_HOUR + PER_BATCH


@pytest.fixture
def bench(database):
    made = make_bench()
    stock(made, cost=500_000)
    return made


def sell(code, bars):
    lot = Lot.objects.get(code=code)
    return draw(lot.pk, bars, verb=Verb.SHIP, origin=Origin(reference="shipment:test")).cost


def enter(since=TODAY, **values):
    return post_late_rates(since=since, on=LATER, **values)


def test_it_is_on_the_lot_with_person_and_day_and_the_cost_is_known(bench):
    code = cured(bench)
    before = Lot.objects.get(code=code).cost
    make_rates()
    owner = person("owner")
    [late] = enter(by=owner)
    assert (late.on, late.by) == (LATER, owner)
    assert (late.cost, late.on_lot, late.expensed, late.variance) == (WHOLE, WHOLE, 0, 0)
    lot = Lot.objects.get(code=code)
    assert lot.cost == before + WHOLE
    entry = StockEntry.objects.get(posting=late.posting)
    assert entry.on == LATER
    assert (entry.verb, entry.on_hand, entry.cost, entry.by) == ("add_cost", 0, WHOLE, owner)
    made = cost_of_batch(code)
    assert made.cost.total == lot.cost and made.bar.per_bar == round(Fraction(lot.cost, 8))
    assert made.notes == () and lots_not_known().lots == set()
    assert prove_books().holds


def test_it_is_as_if_the_rates_had_been_there(bench):
    late = cured(bench)
    make_rates()
    enter()
    other = cured(bench)
    mine, theirs = cost_of_batch(late), cost_of_batch(other)
    assert [line.cost for line in mine.cost.lines] == [line.cost for line in theirs.cost.lines]
    kept = [
        sorted(row.efforts.values_list("effort", "quantity", "rate", "cost"))
        for row in Conversion.objects.all()
    ]
    known = [[row for row in rows if row[0] != "rack"] for rows in kept]
    assert known[0] == known[1]


def test_what_has_left_is_a_variance_and_no_cost_that_was_booked_changes(bench):
    code = cured(bench)
    sold = sell(code, 6)
    before = Lot.objects.get(code=code).cost
    make_rates()
    [late] = enter()
    assert late.on_lot == round(Fraction(WHOLE * 2, 8)) and late.expensed == 0
    assert late.variance == WHOLE - late.on_lot
    assert Lot.objects.get(code=code).cost == before + late.on_lot
    shipped = StockEntry.objects.get(verb=Verb.SHIP.value)
    assert -shipped.cost == sold
    assert prove_books().holds


def test_bars_that_had_left_cost_what_came_late_in_the_spread_too(bench):
    code = cured(bench)
    before = Lot.objects.get(code=code).cost
    sell(code, 6)
    [spread] = cost_spread("plain", last=3)
    assert [each.batch for each in spread.not_known] == [code] and spread.batches == ()
    make_rates()
    [late] = enter()
    assert late.variance > 0
    [spread] = cost_spread("plain", last=3)
    [made] = spread.batches
    assert made.cost == before + WHOLE == cost_of_batch(code).bar.cost_of_good
    assert made.per_bar == round(Fraction(before + WHOLE, 8))


def test_of_a_lot_that_is_gone_all_is_a_variance(bench):
    code = cured(bench)
    sell(code, 8)
    make_rates()
    [late] = enter()
    assert (late.on_lot, late.variance, late.posting) == (0, WHOLE, None)
    assert Lot.objects.get(code=code).cost == 0
    assert lots_not_known().lots == set() and prove_books().holds


def test_an_unusual_loss_takes_its_part_as_it_would_have(bench):
    code = cured(bench, good=6, rejected=2, bars_rejected_abnormal=2)
    make_rates()
    [late] = enter()
    other = cured(bench, good=6, rejected=2, bars_rejected_abnormal=2)
    lost = [Conversion.objects.get(batch__code=each).expensed for each in (code, other)]
    assert lost[0] == lost[1] == late.expensed > 0
    assert late.on_lot + late.expensed == WHOLE
    assert prove_books().holds


def test_again_it_adds_nothing_and_what_was_costed_stays(bench):
    code = cured(bench)
    make_rate(RateKind.LABOR_HOUR, LABOR)
    [first] = enter()
    assert first.cost == LABOR
    [waiting] = waiting_batches()
    assert not waiting.can_be_posted
    assert waiting.missed == (RateKind.OVERHEAD_BATCH, RateKind.OVERHEAD_LABOR_HOUR)
    assert enter() == ()
    Rate.objects.update(amount=9 * LABOR)  # of what was costed already
    make_rate(RateKind.OVERHEAD_BATCH, PER_BATCH)
    make_rate(RateKind.OVERHEAD_LABOR_HOUR, PER_HOUR)
    [second] = enter()
    assert second.cost == PER_BATCH + PER_HOUR
    assert enter() == () and waiting_batches() == []
    conversion = Conversion.objects.get(batch__code=code)
    assert (conversion.labor, conversion.overhead) == (LABOR, PER_BATCH + PER_HOUR)
    assert [each.cost for each in conversion.late.order_by("pk")] == [first.cost, second.cost]


def test_a_rate_of_zero_that_comes_late_makes_it_known_and_posts_nothing(bench):
    code = cured(bench)
    before = Lot.objects.get(code=code).cost
    for kind in (RateKind.LABOR_HOUR, RateKind.OVERHEAD_BATCH, RateKind.OVERHEAD_LABOR_HOUR):
        make_rate(kind, 0)
    [late] = enter()
    assert (late.cost, late.posting) == (0, None)
    assert cost_of_batch(code).cost.total == before


def test_only_batches_since_that_day_at_the_rates_of_their_pour(bench):
    code = cured(bench)
    make_rates(since=TODAY + timedelta(days=1))
    assert enter() == ()  # no rate was in force when it was poured
    make_rates(since=TODAY)
    assert enter(since=TODAY + timedelta(days=1)) == ()
    assert [late.conversion.batch.code for late in enter()] == [code]


def test_of_two_who_enter_at_once_one_does(bench):
    code = cured(bench)
    before = Lot.objects.get(code=code).cost
    make_rates()
    entered = at_once(lambda _: len(enter()), range(2))
    assert sorted(entered) == [0, 1]
    assert Lot.objects.get(code=code).cost == before + WHOLE
    assert LateConversion.objects.count() == 1


def test_what_is_made_of_it_is_not_known_either_until_it_is_entered(bench):
    code = cured(bench)
    ends = make_lot(bench.materials["olive"], 10**12, 10_000)
    deeper = make_lot(bench.materials["water"], 10**12, 10_000)
    lot = Lot.objects.get(code=code)
    LotLink.objects.create(parent=lot, child=ends, amount=1)
    LotLink.objects.create(parent=ends, child=deeper, amount=1)
    assert lots_not_known().lots == {lot.pk, ends.pk, deeper.pk}
    make_rates()
    enter()
    assert lots_not_known().lots == set()


def test_bars_in_stock_are_known_once_it_is_entered(bench):
    offered(bench)
    code = cured(bench)
    product = a_product(bench)
    make_rates()
    assert product_costs([product.pk], on=LATER)[product.pk].actual is None
    enter()
    lot = Lot.objects.get(code=code)
    found = product_costs([product.pk], on=LATER)[product.pk]
    assert found.known and found.actual == round(Fraction(lot.cost, lot.on_hand))
