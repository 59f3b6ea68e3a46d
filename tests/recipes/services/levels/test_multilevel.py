"""Trees of batches: planned, projected, reserved over all levels, made level by level."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.errors import NotEnoughStock
from inventory.models.buying.requirements import ExpectedMake, Requirement
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.models.stock.reservations import Reservation
from inventory.queries.stock.positions import stock_positions
from inventory.services.stock.proof import prove_books
from recipes.models.bench.batches import Batch
from recipes.services.bench.batches import cancel_batch, unreserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.levels.explosion import explode_plan
from recipes.services.levels.multilevel import cancel_tree, plan_tree, reserve_tree
from tests.inventory.making import KG, TODAY, make_lot
from tests.recipes.levels import G, blend_of, days, fill, make_levels, soap_plan


def made_codes(tree):
    return [batch.version.formula.product.code for batch in tree.making]


def position(levels, code):
    return stock_positions(on=TODAY)[levels.materials[code].pk]


def needed(batch, code):
    return sum(row.planned for row in batch.lines.all() if row.material.code == code)


def test_a_plan_proposes_what_it_is_short_of_level_by_level(database):
    levels = make_levels()
    fill(levels, petals=0)
    found = explode_plan(soap_plan(), on=TODAY)
    codes = {pk: material.code for pk, material in found.materials.items()}
    order = [codes[p.need.material] for p in found.found.proposals]
    assert sorted(order) == ["dispersion", "infused", "lye"]
    assert order.index("infused") < order.index("dispersion")
    by_code = {codes[p.need.material]: p for p in found.found.proposals}
    infused = by_code["infused"]
    # the soap's own line, and what its dispersion takes
    assert infused.need.needed == 600 * G + 30 * G
    assert infused.start_on == TODAY - timedelta(14) and infused.ready_on == TODAY
    assert [codes[need.material] for need in found.found.shortages] == ["petals"]
    assert found.found.shortages[0].due_on == infused.start_on


def test_the_shelf_is_netted_on_each_level_and_other_plans_keep_theirs(database):
    levels = make_levels()
    fill(levels)
    make_lot(levels.materials["infused"], 400 * G)
    first = plan_tree(soap_plan(), planned_on=TODAY)
    infused = levels.materials["infused"].pk
    assert first.exploded.found.needs[infused].short == 230 * G
    again = explode_plan(soap_plan(), on=TODAY)
    spare = Batch.objects.get(version__formula=levels.formulas["infused"]).batter - 230 * G
    assert 0 <= spare < 2 * G
    assert again.found.needs[infused].free == spare  # what the first plan needs is not free


def test_nothing_is_counted_twice_by_the_projection(database):
    levels = make_levels()
    fill(levels)
    before = {code: position(levels, code).projected for code in levels.materials}
    tree = plan_tree(soap_plan(), planned_on=TODAY)
    batches = [*tree.making, tree.top]
    for code, projected in before.items():
        used = sum(needed(batch, code) for batch in batches)
        made = sum(b.batter for b in tree.making if b.version.formula.product.code == code)
        assert position(levels, code).projected == projected - used + made
        assert position(levels, code).being_made == made
    planned = {code: position(levels, code).projected for code in levels.materials}
    reserve_tree(tree.top.code)
    assert {code: position(levels, code).projected for code in levels.materials} == planned
    for batch in tree.making:
        pour_batch(batch.code, Poured(on=TODAY))
    assert {code: position(levels, code).projected for code in levels.materials} == planned
    # What was mixed is there; only the bars of the top are still to come.
    assert [make.holder for make in ExpectedMake.objects.all()] == [tree.top.holder]


def test_one_reservation_over_all_levels_and_what_is_made_is_held(database):
    levels = make_levels()
    fill(levels)
    make_lot(levels.materials["infused"], 100 * G)
    tree = plan_tree(soap_plan(), planned_on=TODAY)
    held = {each.batch.code: each for each in reserve_tree(tree.top.code)}
    assert set(held) == {batch.code for batch in [*tree.making, tree.top]}
    names = {m.pk: code for code, m in levels.materials.items()}
    waits = {names[pk]: amount for pk, amount in held[tree.top.code].waits.items()}
    # The dispersion is made first, so it has the first of the oil that is there.
    assert waits == {
        "infused": 530 * G,
        "lye": needed(tree.top, "lye"),
        "dispersion": 50 * G,
    }
    assert Reservation.objects.filter(state="open").count() == 4
    assert position(levels, "infused").planned == 530 * G
    for batch in tree.making:
        pour_batch(batch.code, Poured(on=TODAY))
    for code in ("infused", "lye", "dispersion"):
        assert position(levels, code).planned == 0
        assert position(levels, code).reserved == needed(tree.top, code)
    pour_batch(tree.top.code, Poured(on=TODAY))
    assert prove_books().holds


def test_without_keeping_the_lot_is_free_and_still_required(database):
    levels = make_levels()
    fill(levels)
    tree = plan_tree(soap_plan(), planned_on=TODAY)
    reserve_tree(tree.top.code, keep=False)
    for batch in tree.making:
        pour_batch(batch.code, Poured(on=TODAY))
    lye = position(levels, "lye")
    assert (lye.reserved, lye.planned) == (0, needed(tree.top, "lye"))
    pour_batch(tree.top.code, Poured(on=TODAY))
    assert prove_books().holds


def test_one_shortage_refuses_every_level_and_names_all_that_is_short(database):
    levels = make_levels()
    fill(levels, petals=10 * G, naoh=10 * G, coconut=0)
    tree = plan_tree(soap_plan(), planned_on=TODAY)
    with pytest.raises(NotEnoughStock) as refused:
        reserve_tree(tree.top.code)
    short = {fault.details["material"] for fault in refused.value.faults}
    assert short == {"petals", "naoh", "coconut"}
    assert not StockEntry.objects.filter(verb="reserve").exists()
    assert {batch.state for batch in Batch.objects.all()} == {"planned"}
    assert not Reservation.objects.exists()


def test_reserving_the_tree_again_after_giving_back_counts_what_is_there(database):
    levels = make_levels()
    fill(levels)
    tree = plan_tree(soap_plan(), planned_on=TODAY)
    reserve_tree(tree.top.code)
    unreserve_batch(tree.top.code)
    lye = next(b for b in tree.making if b.version.formula.product.code == "lye")
    pour_batch(lye.code, Poured(on=TODAY))
    held = reserve_tree(tree.top.code)
    assert [each.batch.code for each in held] == [tree.top.code]
    assert levels.materials["lye"].pk not in held[0].waits


def test_a_called_off_batch_is_expected_no_more(database):
    levels = make_levels()
    fill(levels)
    tree = plan_tree(soap_plan(), planned_on=TODAY)
    lye = next(b for b in tree.making if b.version.formula.product.code == "lye")
    cancel_batch(lye.code)
    assert not ExpectedMake.objects.filter(holder=lye.holder).exists()
    assert not Requirement.objects.filter(holder=lye.holder).exists()
    with pytest.raises(NotEnoughStock, match="Lye"):
        reserve_tree(tree.top.code)


def test_calling_off_a_tree_leaves_what_is_made(database):
    levels = make_levels()
    fill(levels)
    tree = plan_tree(soap_plan(), planned_on=TODAY)
    reserve_tree(tree.top.code)
    infused = next(b for b in tree.making if b.version.formula.product.code == "infused")
    lot = pour_batch(infused.code, Poured(on=TODAY)).lot
    gone = cancel_tree(tree.top.code, reason="no market")
    assert {batch.code for batch in gone} == {b.code for b in [*tree.making, tree.top]} - {
        infused.code
    }
    lot.refresh_from_db()
    assert lot.on_hand > 0 and not Lot.objects.filter(reserved__gt=0).exists()
    assert not Requirement.objects.exists() and not ExpectedMake.objects.exists()
    assert prove_books().holds


def test_what_another_plan_makes_too_much_of_may_be_waited_for(database):
    levels = make_levels()
    fill(levels)
    lye = levels.formulas["lye"]
    lye.least_make = KG
    lye.save()
    first = plan_tree(soap_plan(), planned_on=TODAY)
    second = plan_tree(soap_plan(), planned_on=TODAY)
    assert "lye" in made_codes(first) and "lye" not in made_codes(second)
    held = reserve_tree(second.top.code)
    assert held[-1].waits[levels.materials["lye"].pk] == needed(second.top, "lye")
    third = plan_tree(soap_plan(fats=3 * KG), planned_on=TODAY)
    made = next(b for b in third.making if b.version.formula.product.code == "lye")
    cancel_batch(made.code)
    with pytest.raises(NotEnoughStock, match="Lye"):  # the rest of it is promised to the others
        reserve_tree(third.top.code)


def test_the_least_make_and_the_steps_of_the_scale(database):
    levels = make_levels()
    fill(levels)
    lye = levels.formulas["lye"]
    lye.least_make = 2 * KG
    lye.save()
    found = explode_plan(soap_plan(), on=TODAY)
    sized = {p.need.material: p.sized for p in found.found.proposals}
    assert sized[levels.materials["lye"].pk].output == 2 * KG
    for material, plan in found.plans.items():
        assert plan.output_ng == sized[material].output
        assert plan.needs == sized[material].needs


@pytest.mark.parametrize("depth", [1, 4])
@pytest.mark.parametrize("width", [1, 3])
def test_exploding_takes_two_queries_a_level_and_six_more(database, depth, width):
    levels = make_levels()
    fill(levels)
    below = "clay"
    for level in range(depth):
        above = f"level-{level}"
        parts = {f"level-{level}-{i}": str(Decimal(1) / 2) for i in range(width - 1)}
        for part in parts:
            blend_of(levels, part, {below: "1"})
        parts = dict.fromkeys(parts, "0.25")
        parts[below] = str(1 - Decimal("0.25") * len(parts))
        blend_of(levels, above, parts)
        below = above
    top = blend_of(levels, "top", {below: "1"})
    from recipes.domain.formulas.scaled import BatterTarget
    from recipes.queries.formulas.formulas import load_formula
    from recipes.queries.scaling.plans import Wish, make_plan

    plan = make_plan(load_formula(code=top.code), Wish(target=BatterTarget(KG)))
    with CaptureQueriesContext(connection) as captured:
        found = explode_plan(plan, on=days(TODAY, 0))
    reached = depth if width == 1 else depth + 1  # the side blends stand one below
    assert len(found.found.proposals) >= depth
    assert len(captured) <= 2 * reached + 6
