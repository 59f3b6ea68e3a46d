"""A soap of intermediates from one explosion to released bars, made level by level.

Costs are followed by the books alone: what raw lots lose and what work adds is what bars and the
rest of the intermediates hold, to the last unit. Materials, amounts and prices are invented.
"""

from datetime import timedelta
from decimal import Decimal

import networkx
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from costing.queries.bar_cost.batches import cost_of_batch
from inventory.models.buying.requirements import ExpectedMake, Requirement
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.models.stock.reservations import Reservation
from inventory.queries.stock.contents import contents_of
from inventory.services.stock.proof import prove_books
from recipes.domain.formulas.scaled import BatterTarget
from recipes.models.bench.batches import Batch
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import Wish, make_plan
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.finishing import Cured, Cut, cure_batch, cut_batch
from recipes.services.levels.multilevel import plan_tree, reserve_tree
from tests.costing.making import LABOR, PER_BATCH, PER_HOUR, make_rates
from tests.inventory.making import KG, TODAY, make_lot
from tests.recipes.levels import LONG_THERE, G, blend_of, fill, make_levels, soap_plan

#: Minutes of work of each batch; an hour costs LABOR and PER_HOUR, a batch of soap PER_BATCH.
MINUTES = 30


def put_on(lot):
    """All cost that was ever put on a lot, and all that left it with what was taken."""
    entries = list(StockEntry.objects.filter(lot=lot))
    into = sum(entry.cost for entry in entries if entry.cost > 0)
    return into, -sum(entry.cost for entry in entries if entry.cost < 0)


def taken_for(batch):
    """What a batch took out of lots, in cost."""
    entries = StockEntry.objects.filter(reference=batch.holder, verb="consume")
    return -sum(entry.cost for entry in entries)


def pour_in_order(tree):
    """Make each batch on the day it is ready; the lots made, by the code of the material."""
    made = {}
    for batch in tree.making:
        ready = batch.planned_on + timedelta(batch.version.ready_days)
        poured = pour_batch(batch.code, Poured(on=ready, minutes=MINUTES))
        made[poured.lot.material.code] = poured.lot
    return made


def test_lye_oil_color_and_soap_from_one_explosion_to_bars(database):
    levels = make_levels()
    fill(levels)
    make_rates()
    raw = {lot.pk: lot.cost for lot in Lot.objects.all()}

    tree = plan_tree(soap_plan(), planned_on=TODAY)
    assert tree.exploded.found.shortages == ()
    assert [b.planned_on for b in tree.making if b.version.ready_days] == [TODAY - timedelta(14)]
    assert len(reserve_tree(tree.top.code)) == 4
    assert Reservation.objects.filter(state="open").count() == 4

    made = pour_in_order(tree)
    assert set(made) == {"lye", "infused", "dispersion"}
    for lot in made.values():
        lot.refresh_from_db()
        assert lot.reserved > 0  # the soap holds what was made for it
    # 49 % of pure NaOH by mass: half of it is NaOH of 98 %, within what the scale rounds.
    inside = contents_of(lot.pk for lot in made.values())
    assert abs(inside[made["lye"].pk].naoh.usual - Decimal("0.49")) < Decimal("0.002")
    # Petals are strained out again, so the oil keeps the saponification value of the olive oil.
    assert inside[made["infused"].pk].demand.usual == Decimal(190)

    poured = pour_batch(tree.top.code, Poured(on=TODAY, minutes=MINUTES))
    assert poured.lot.state == "quarantine" and poured.safety.superfat > Decimal("0.05")
    cut_batch(tree.top.code, Cut(on=TODAY + timedelta(1), bars_good=7, bars_rejected=1, minutes=0))
    cure_batch(tree.top.code, Cured(on=TODAY + timedelta(28), minutes=0))
    bars = Lot.objects.get(code=tree.top.code)
    assert (bars.on_hand, bars.state) == (7, "released")

    hour = LABOR + PER_HOUR
    work = 4 * hour * MINUTES // 60 + PER_BATCH  # of blends, overhead goes by the hour alone
    left = sum(lot.cost for lot in Lot.objects.filter(pk__in=raw))
    kept = sum(Lot.objects.get(pk=lot.pk).cost for lot in made.values())
    assert sum(raw.values()) - left + work == bars.cost + kept
    assert cost_of_batch(tree.top.code).cost.total == bars.cost
    for batch in tree.making:
        batch.refresh_from_db()
        into, _ = put_on(batch.bar_lot)
        assert into == taken_for(batch) + hour * MINUTES // 60
    assert not Requirement.objects.exists() and not ExpectedMake.objects.exists()
    assert not Reservation.objects.filter(state="open").exists()
    assert prove_books().holds


@st.composite
def blends(draw):
    """Blends "b0", "b1", ... each of raw materials and of earlier ones; the last is the top."""
    parts = []
    for number in range(draw(st.integers(2, 5))):
        below = ["olive", "water", "petals", *(f"b{i}" for i in range(number))]
        some = draw(st.lists(st.sampled_from(below), min_size=1, max_size=3, unique=True))
        if number and f"b{number - 1}" not in some:
            some = [*some[:2], f"b{number - 1}"]
        shares = [Decimal(draw(st.integers(1, 9))) / 40 for _ in some[1:]]
        loss = draw(st.sampled_from(["0", "0.1"]))
        days = draw(st.integers(0, 5))
        parts.append((dict(zip(some, [1 - sum(shares), *shares], strict=True)), loss, days))
    there = {code: draw(st.integers(1, 400)) * G for code in draw(st.sets(st.sampled_from(NAMES)))}
    return parts, there


NAMES = [f"b{number}" for number in range(4)]


@pytest.mark.parametrize("keep", [True, False])
def test_any_production_conserves_its_cost_and_proves(database, keep):
    @settings(
        max_examples=5,
        suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    )
    @given(blends())
    def walk(given_blends):
        database.restore()
        make_any(*given_blends, keep=keep)

    walk()


def make_any(parts, there, *, keep):
    levels = make_levels()
    fill(levels, 50 * KG)
    graph = networkx.DiGraph()
    for number, (shares, loss, days) in enumerate(parts):
        code = f"b{number}"
        blend_of(
            levels,
            code,
            {part: str(share) for part, share in shares.items()},
            pot_loss_share=Decimal(loss),
            ready_days=days,
        )
        graph.add_edges_from((part, code) for part in shares)
    top = f"b{len(parts) - 1}"
    for code, amount in there.items():
        if code in levels.materials and code != top:
            make_lot(levels.materials[code], amount, 7_001, received_on=LONG_THERE)
    total = sum(lot.cost for lot in Lot.objects.all())
    plan = make_plan(load_formula(code=f"make-{top}"), Wish(target=BatterTarget(KG)))
    tree = plan_tree(plan, planned_on=TODAY)
    order = [batch.version.formula.product.code for batch in tree.making]
    for place, code in enumerate(order):
        assert not networkx.ancestors(graph, code) & set(order[place + 1 :])
    reserve_tree(tree.top.code, keep=keep)
    pour_in_order(tree)
    made = pour_batch(tree.top.code, Poured(on=TODAY)).lot
    assert sum(lot.cost for lot in Lot.objects.all()) == total
    assert made.on_hand == KG or abs(made.on_hand - KG) < 5 * G
    assert {batch.state for batch in Batch.objects.all()} == {"cured"}
    assert prove_books().holds
