"""The lye set anew on the lots: safe, at the superfat that was wanted, with weights that are held.

The expected weights are worked out by hand beside the code: NaOH for the fats from their
saponification values by ISO 3657 (mg KOH/g) and the molar masses of NaOH and KOH (39.997 and
56.105 g/mol), less the superfat, divided by the strength of the lot.
"""

from decimal import Decimal

import pytest

from inventory.models.buying.requirements import Requirement
from inventory.models.stock.lots import Lot
from inventory.queries.stock.candidates import ChosenLot
from inventory.queries.stock.contents import contents_of
from inventory.services.stock.proof import prove_books
from recipes.errors import FormulaRefusal, LyeHeavy
from recipes.models.bench.batches import Batch
from recipes.models.formulas.formulas import FormulaVersion
from recipes.queries.formulas.formulas import load_formula
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.bench.resetting import reserve_on_lots
from recipes.services.levels.multilevel import plan_tree, reserve_tree
from recipes.services.scaling.planning import plan_batch
from tests.inventory.making import KG, TODAY, make_lot
from tests.recipes.levels import G, fill, make_levels, soap_plan

NAOH_PER_KOH = Decimal("39.997") / Decimal("56.105")
#: Pure NaOH for 600 g of fat at 190 and 400 g at 256 mg KOH/g, less 6 %.
PURE = (600 * Decimal(190) + 400 * Decimal(256)) / 1000 * NAOH_PER_KOH * Decimal("0.94")


def a_batch(levels, strengths, **values):
    """A planned soap of 1 kg of fats with lots of the stored lye of these strengths."""
    fill(levels)
    for code in ("infused", "dispersion"):
        make_lot(levels.materials[code], 2 * KG, 30_000, **values.get(code, {}))
    for strength, amount in strengths:
        make_lot(levels.materials["lye"], amount, 20_000, purity=Decimal(strength))
    return plan_batch(soap_plan(), planned_on=TODAY)


def planned(batch, part):
    return {row.part: row.planned for row in batch.lines.all()}.get(part, 0)


def rounds_down(weight, exact):
    """Stored lye is weighed in whole grams, never more than `exact`; its NaOH is set to 0.1 g."""
    return Decimal("-0.1") <= exact - Decimal(weight) < Decimal("1.1")


def held(reserved, code):
    return sum(amount for lot, amount in reserved.held.lots if lot.material.code == code)


@pytest.mark.parametrize("strength", ["0.34", "0.40", "0.45", "0.49", "0.50"])
def test_the_weight_of_the_stored_lye_follows_its_strength(database, strength):
    levels = make_levels()
    batch = a_batch(levels, [(strength, 3 * KG)])
    reserved = reserve_on_lots(batch.code)
    weight = planned(batch, "masterbatch")
    assert rounds_down(Decimal(weight) / G, PURE / Decimal(strength))
    assert reserved.held.reservation.pk and held(reserved, "lye") == weight
    # Less lye than is asked for by up to a gram, and so never less superfat.
    assert Decimal("0.06") <= reserved.safety.superfat < Decimal("0.0645")
    batch = Batch.objects.get(pk=batch.pk)
    pure = weight * Decimal(strength)
    lye = weight + planned(batch, "water")
    assert abs(pure / lye - Decimal("0.33")) < Decimal("0.002")
    assert abs(batch.lye_concentration - pure / lye) < Decimal("0.000002")
    assert batch.batter == sum(row.planned for row in batch.lines.exclude(stage="pack"))
    required = {r.material.code: r.amount for r in Requirement.objects.filter(holder=batch.holder)}
    assert required["lye"] == weight
    poured = pour_batch(batch.code, Poured(on=TODAY))
    assert poured.lot.state == "quarantine" and prove_books().holds


def test_a_stronger_lot_is_refused_as_planned_and_taken_when_set_anew(database):
    levels = make_levels()
    batch = a_batch(levels, [("0.50", 3 * KG)])
    with pytest.raises(LyeHeavy):
        low = make_lot(levels.materials["coconut"], 2 * KG, sv_mg_koh_g=Decimal(230))
        reserve_batch(batch.code, chosen={low.material_id: [ChosenLot(code=low.code)]})
    assert not Lot.objects.filter(reserved__gt=0).exists()
    chosen = {low.material_id: [ChosenLot(code=low.code)]}
    reserved = reserve_on_lots(batch.code, chosen=chosen)
    assert abs(reserved.safety.superfat - Decimal("0.06")) < Decimal("0.003")


def test_more_of_a_weak_lot_may_reach_into_the_next(database):
    levels = make_levels()
    batch = a_batch(levels, [("0.40", 300 * G), ("0.50", 3 * KG)])
    reserved = reserve_on_lots(batch.code)
    takes = [(lot.purity, amount) for lot, amount in reserved.held.lots if lot.material.alkali]
    assert [purity for purity, _ in takes] == [Decimal("0.4"), Decimal("0.5")]
    pure = sum(purity * amount for purity, amount in takes) / G
    assert abs(pure - PURE) <= Decimal("0.4")
    assert sum(amount for _, amount in takes) == planned(batch, "masterbatch")


def test_a_lot_weaker_than_the_recipes_lye_is_refused_with_the_reason(database):
    levels = make_levels()
    batch = a_batch(levels, [("0.30", 5 * KG)])
    before = {row.part: row.planned for row in batch.lines.all()}
    with pytest.raises(FormulaRefusal) as refused:
        reserve_on_lots(batch.code)
    assert "alkali" in refused.value.faults[0].field
    assert not Lot.objects.filter(reserved__gt=0).exists()
    assert {row.part: row.planned for row in batch.lines.all()} == before


def test_without_a_difference_nothing_is_rewritten(database):
    levels = make_levels()
    batch = a_batch(levels, [("0.49", 3 * KG)])
    rows = {row.pk: row.planned for row in batch.lines.all()}
    reserve_on_lots(batch.code)
    assert {row.pk: row.planned for row in batch.lines.all()} == rows


def test_fats_by_their_certificates_and_a_line_that_weighs_nothing(database):
    levels = make_levels()
    batch = a_batch(levels, [("0.49", 3 * KG)], infused={"sv_mg_koh_g": Decimal(186)})
    clay = batch.lines.get(material__code="dispersion")
    clay.delete()  # as when the scale's step leaves nothing of it
    reserve_on_lots(batch.code)
    demand = (600 * Decimal(186) + 400 * Decimal(256)) / 1000 * NAOH_PER_KOH * Decimal("0.94")
    weight = Decimal(planned(batch, "masterbatch")) / G
    assert rounds_down(weight, demand / Decimal("0.49"))


def test_a_tree_sets_the_lye_of_its_top_on_what_is_there(database):
    levels = make_levels()
    fill(levels)
    make_lot(levels.materials["lye"], 3 * KG, 20_000, purity=Decimal("0.42"))
    tree = plan_tree(soap_plan(), planned_on=TODAY)
    assert load_formula(code="make-lye").version.pk not in [b.version_id for b in tree.making]
    found = reserve_tree(tree.top.code, reset_lye=True)
    weight = planned(Batch.objects.get(pk=tree.top.pk), "masterbatch")
    assert rounds_down(Decimal(weight) / G, PURE / Decimal("0.42"))
    assert found[-1].safety is not None and prove_books().holds


def test_a_lot_that_would_make_the_soap_lye_heavy_is_not_kept_for_it(database):
    levels = make_levels()
    fill(levels)
    tree = plan_tree(soap_plan(), planned_on=TODAY)
    reserve_tree(tree.top.code)
    lye = next(b for b in tree.making if b.version.formula.product.code == "lye")
    rows = {row.material.code: row for row in lye.lines.all()}
    # the maker weighs too little water: the lye comes out far stronger than on paper
    half = rows["water"].planned // 2
    made = pour_batch(lye.code, Poured(on=TODAY, actual={rows["water"].position: half}))
    made.lot.refresh_from_db()
    strength = contents_of([made.lot.pk])[made.lot.pk].naoh.usual
    assert strength > Decimal("0.6") and made.lot.reserved == 0
    told = Batch.objects.get(pk=lye.pk).note
    assert f"Not held for {tree.top.code}" in told and "lye set on the lots" in told


def test_a_lot_stronger_than_the_recipes_lye_gets_its_water_as_a_line_of_its_own(database):
    """Lye of 49 % out of a stored lye of 49 % takes no water; out of 50 % it does."""
    levels = make_levels()
    FormulaVersion.objects.filter(formula=levels.formulas["soap"]).update(
        lye_concentration=Decimal("0.49")
    )
    batch = a_batch(levels, [("0.50", 3 * KG)])
    before = {row.pk: row.position for row in batch.lines.all()}
    assert planned(batch, "water") == 0
    reserved = reserve_on_lots(batch.code)
    (water,) = batch.lines.exclude(pk__in=before)
    assert (water.part, water.stage, water.material.code) == ("water", "lye", "water")
    assert water.position == max(before.values()) + 1
    # What 49 % weigh more than 50 % do of the same NaOH, on a scale that shows grams.
    assert abs(Decimal(water.planned) / G - (PURE / Decimal("0.49") - PURE * 2)) <= Decimal("1.1")
    assert held(reserved, "water") == water.planned
    required = {r.material.code: r.amount for r in Requirement.objects.filter(holder=batch.holder)}
    assert required["water"] == water.planned
    kept = Batch.objects.get(pk=batch.pk)
    assert kept.batter == sum(row.planned for row in batch.lines.exclude(stage="pack"))
    assert abs(kept.lye_concentration - Decimal("0.49")) < Decimal("0.002")
    poured = pour_batch(batch.code, Poured(on=TODAY))
    assert poured.lot.on_hand == kept.batter and prove_books().holds


def test_a_lot_as_weak_as_the_lye_may_be_leaves_no_line_of_water(database):
    levels = make_levels()
    batch = a_batch(levels, [("0.33", 3 * KG)])
    assert planned(batch, "water") > 0
    reserved = reserve_on_lots(batch.code)
    assert not batch.lines.filter(part="water").exists() and held(reserved, "water") == 0
    weight = planned(batch, "masterbatch")
    assert rounds_down(Decimal(weight) / G, PURE / Decimal("0.33"))
    required = {r.material.code for r in Requirement.objects.filter(holder=batch.holder)}
    assert "lye" in required and "water" not in required
    assert prove_books().holds


def test_lots_with_unlike_certificates_set_the_lye_on_their_mean_by_mass(database):
    """Of 400 g of coconut oil, 100 g have 248 and 300 g 264 mg KOH/g: 260 as a whole."""
    levels = make_levels()
    batch = a_batch(levels, [("0.49", 3 * KG)])
    oil = levels.materials["coconut"]
    lots = [make_lot(oil, KG, sv_mg_koh_g=Decimal(value)) for value in (248, 264)]
    chosen = {
        oil.pk: [
            ChosenLot(code=lot.code, amount=amount * G)
            for lot, amount in zip(lots, (100, 300), strict=True)
        ]
    }
    reserved = reserve_on_lots(batch.code, chosen=chosen)
    demand = (600 * Decimal(190) + 400 * Decimal(260)) / 1000
    pure = demand * NAOH_PER_KOH * Decimal("0.94")
    weight = Decimal(planned(batch, "masterbatch")) / G
    assert rounds_down(weight, pure / Decimal("0.49"))
    assert abs(reserved.safety.superfat - Decimal("0.06")) < Decimal("0.003")
    assert reserved.safety.worst <= reserved.safety.superfat
