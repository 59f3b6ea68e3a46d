"""What IAS 2 puts into the cost of inventories and what it keeps out, on real batches.

Paragraphs 10-12, 23, 25 and 34: the text of the standard, as published. Paragraphs 13, 14 and 16:
from a published summary of the standard, the storage exception and by-products from memory.
"""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from costing.domain.bar_cost.bar_cost import CostKind
from costing.domain.rates.rates import RateKind
from costing.models.bar_cost.conversion import Conversion
from costing.queries.bar_cost.batches import cost_of_batch
from costing.queries.bar_cost.plans import costs_of_plan
from costing.queries.bar_cost.price_basis import PriceBasis
from costing.queries.rates.rates import fees_of
from costing.services.bar_cost.labor_standards import StandardDescription, save_standard
from costing.services.rates.rates import FeeDescription, save_fee
from inventory.domain.receiving.landed_cost import Charge, ChargeKind
from inventory.domain.stock.ledger import Verb
from inventory.models.catalog.suppliers import Supplier
from inventory.models.receiving.deliveries import DeliveryLine
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.services.receiving.deliveries import receive_delivery
from inventory.services.receiving.received import Received, ReceivedLine
from inventory.services.stock.consumption import draw
from inventory.services.stock.ledger import Origin
from inventory.services.stock.proof import prove_books
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import make_plan
from recipes.services.scaling.planning import Asked, wish_from
from tests.costing.making import UNIT, cured, cut, make_rate, make_rates
from tests.inventory.making import KG, TODAY
from tests.recipes.making import make_bench

GOODS = {"olive": 45, "coconut": 35, "naoh": 20, "water": 1, "scent": 60, "box": 39}
GROSS = sum(GOODS.values()) * UNIT
FREIGHT, DISCOUNT = 30 * UNIT, 20 * UNIT


@pytest.fixture
def bench(database):
    """Everything bought in one delivery: 200.00 of goods, 30.00 of freight, 20.00 off."""
    made = make_bench()
    make_rates()
    Supplier.objects.create(code="mill", name="The Mill (invented)")
    lines = [
        ReceivedLine(
            material=code,
            written="100 each" if made.materials[code].counted else "5 kg",
            price=price * UNIT,
        )
        for code, price in GOODS.items()
    ]
    charges = [
        Charge(kind=ChargeKind.FREIGHT, amount=FREIGHT),
        Charge(kind=ChargeKind.DISCOUNT, amount=-DISCOUNT),
    ]
    receive_delivery(Received(supplier="mill", received_on=TODAY, lines=lines, charges=charges))
    return made


def left_of_what_was_bought():
    return sum(Lot.objects.filter(delivery_line__isnull=False).values_list("cost", flat=True))


def test_11_purchase_cost_is_price_and_freight_less_discount(bench):
    olive = DeliveryLine.objects.get(material__code="olive")
    assert left_of_what_was_bought() == GROSS + FREIGHT - DISCOUNT
    # 45 of 200 of the value: 45.00 + 10.00 x 45 / 200 = 47.25
    assert olive.landed_cost == Lot.objects.get(pk=olive.lot_id).cost == 472_500
    plan = make_plan(load_formula(code="plain"), wish_from(Asked(fats_ng=KG, bars=8)))
    (costing,) = costs_of_plan(plan, bases=(PriceBasis.PICKED_LOTS,), on=TODAY)
    line = next(each for each in costing.cost.lines if each.code == "olive")
    assert line.cost == 472_500 * 700 // 5000  # 700 g of 5 kg, freight and discount within


def test_10_cost_is_conserved_from_the_invoice_to_the_bars(bench):
    code = cured(bench, good=7, rejected=1)
    cost = cost_of_batch(code).cost
    used = cost.of(CostKind.MATERIAL) + cost.of(CostKind.PACKAGING)
    assert used + left_of_what_was_bought() == GROSS + FREIGHT - DISCOUNT
    conversion = cost.of(CostKind.LABOR) + cost.of(CostKind.OVERHEAD)
    assert Lot.objects.get(code=code).cost == used + conversion
    assert prove_books().differences == ()


def test_12_conversion_is_labor_and_a_share_of_the_overheads(bench):
    cost = cost_of_batch(cured(bench)).cost
    assert cost.of(CostKind.LABOR) == 24 * UNIT  # 60 minutes
    assert cost.of(CostKind.OVERHEAD) == (5 + 3) * UNIT


def test_16_usual_rejects_stay_in_the_cost_of_the_good_bars(bench):
    code = cut(bench, good=6, rejected=2)
    poured_cost = StockEntry.objects.get(verb="produce", lot__code=f"{code}-poured").cost
    assert Lot.objects.get(code=code).cost == poured_cost  # six bars bear what eight took
    assert not StockEntry.objects.filter(verb="spoil").exists()


def test_16_selling_is_no_cost_of_the_bars(bench):
    code = cured(bench)
    before = cost_of_batch(code)
    bars = Lot.objects.get(code=code)
    draw(bars.pk, 2, verb=Verb.SHIP, origin=Origin(reference="order:1"))
    assert cost_of_batch(code) == before
    assert not {"selling", "freight_out", "commission"} & {
        *CostKind.__members__.values(),
        *[kind.value for kind in RateKind],
    }


def test_34_what_is_sold_takes_its_part_of_the_cost_and_the_last_all_that_is_left(bench):
    code = cured(bench, good=7, rejected=1)
    bars = Lot.objects.get(code=code)
    sold = [
        draw(bars.pk, count, verb=Verb.SHIP, origin=Origin(reference="order:1")).cost
        for count in (3, 3, 1)
    ]
    assert sum(sold) == bars.cost
    bars.refresh_from_db()
    assert (bars.on_hand, bars.cost) == (0, 0)


def test_34_what_is_written_off_leaves_the_cost_of_nothing_behind(bench):
    code = cut(bench, good=0, rejected=8)
    gone = StockEntry.objects.get(verb="spoil")
    assert cost_of_batch(code).cost.of(CostKind.MATERIAL) == -gone.cost
    assert left_of_what_was_bought() - gone.cost == GROSS + FREIGHT - DISCOUNT


def test_a_rate_of_next_year_is_not_of_this_batch(bench):
    code = cured(bench)
    before = Lot.objects.get(code=code).cost
    make_rate(RateKind.LABOR_HOUR, 99 * UNIT, since=TODAY + timedelta(days=300))
    assert cost_of_batch(code).cost.total == before


def test_12_labor_is_that_of_each_task_at_its_rate(bench):
    make_rate(RateKind.LABOR_MIX_HOUR, 30 * UNIT)
    make_rate(RateKind.LABOR_WRAP_HOUR, 15 * UNIT)
    code = cured(bench, minutes=15)  # 40 mixing at 30, 15 cutting at 24, 20 wrapping at 15
    lines = {line.code: line.cost for line in cost_of_batch(code).cost.lines}
    assert lines["labor-mix"] == 20 * UNIT
    assert (lines["labor-cut"], lines["labor-wrap"]) == (6 * UNIT, 5 * UNIT)


def test_13_overhead_comes_by_what_drives_it(bench):
    make_rate(RateKind.OVERHEAD_RACK_WEEK, 2 * UNIT)
    make_rate(RateKind.ENERGY_KWH, UNIT // 4)
    stated = StandardDescription(effective_from=date(2026, 1, 1), mix_minutes=0, energy_wh=2000)
    save_standard(stated)
    lines = {line.code: line.cost for line in cost_of_batch(cured(bench)).cost.lines}
    assert (lines["rack"], lines["energy"], lines["overhead"]) == (
        4 * 2 * UNIT,
        UNIT // 2,
        (5 + 3) * UNIT,
    )


def test_14_ends_kept_for_another_batch_take_their_part_along(bench):
    code = cured(bench, ends_weight=KG // 10, keep_ends=True)
    cost = cost_of_batch(code).cost
    assert -cost.of(CostKind.RECOVERED) == Lot.objects.get(code=f"{code}-ends").cost > 0
    assert cost.total == Lot.objects.get(code=code).cost


def test_16a_an_unusual_loss_is_an_expense_and_no_cost_of_the_good_bars(bench):
    code = cured(bench, good=6, rejected=2, bars_rejected_abnormal=1)
    made = cost_of_batch(code)
    bars, gone = Lot.objects.get(code=code), StockEntry.objects.get(verb="spoil")
    kept = Conversion.objects.get(batch__code=code)
    assert made.bar.cost_of_good == bars.cost
    assert made.bar.abnormal_loss == -gone.cost + kept.expensed
    # Cost in = cost of the good bars + what was expensed, to the last unit.
    assert made.cost.total == bars.cost - gone.cost + kept.expensed
    poured = StockEntry.objects.get(verb="produce", lot__code=f"{code}-poured").cost
    assert abs(-gone.cost - poured // 8) <= 1  # one of eight bars
    # Of 40 minutes before the release, the batch's overhead and theirs by the hour: an eighth.
    assert kept.expensed == (16 + 5 + 2) * UNIT // 8
    assert prove_books().differences == ()


def test_16a_usual_and_unusual_losses_meet_in_one_batch(bench):
    """The good bars cost as if the unusual rejects had been good ones."""
    code = cured(bench, good=5, rejected=3, bars_rejected_abnormal=2)
    bar = cost_of_batch(code).bar
    assert bar.abnormal_loss > 0
    assert bar.cost_of_good + bar.abnormal_loss == cost_of_batch(code).cost.total


def test_16b_the_cure_rack_is_a_stage_of_making_and_storing_longer_is_not(bench):
    make_rate(RateKind.OVERHEAD_RACK_WEEK, 2 * UNIT)
    on_time = Lot.objects.get(code=cured(bench)).cost
    late = cured(bench, late=14)
    assert Lot.objects.get(code=late).cost == on_time
    assert "14 days more" in Conversion.objects.get(batch__code=late).note


def test_16d_fees_of_selling_change_no_cost_of_stock(bench):
    code = cured(bench)
    before = Lot.objects.get(code=code).cost
    save_fee(
        FeeDescription(
            code="card",
            name="Card",
            share=Decimal("0.03"),
            fixed_per_sale=3000,
            effective_from=date(2026, 1, 1),
        )
    )
    assert Lot.objects.get(code=code).cost == before == cost_of_batch(code).cost.total
    assert fees_of(None, TODAY).share == Decimal("0.03")


def test_25_an_old_batch_keeps_its_rates_when_all_rates_change(bench):
    """The real book: every rate rises, with a day before the pour, and nothing moves."""
    make_rate(RateKind.OVERHEAD_RACK_WEEK, 2 * UNIT)
    code = cured(bench, minutes=10)
    before, entries = cost_of_batch(code), StockEntry.objects.count()
    for kind in RateKind:
        make_rate(kind, 77 * UNIT, since=TODAY - timedelta(days=1))
    save_standard(
        StandardDescription(effective_from=TODAY, mix_minutes=500, energy_wh=9000, bars_per_rack=1)
    )
    assert cost_of_batch(code) == before and StockEntry.objects.count() == entries
    assert prove_books().differences == ()
