"""Labels from what a batch really took: lots' values, allergens of its lots, gaps told."""

from datetime import date
from decimal import Decimal as D

import pytest

from inventory.domain.catalog.allergens import Allergen
from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.domain.stock.holds import Decision, Outcome
from inventory.models.stock.lots import Lot
from inventory.services.counting.counts import spoil_lot
from inventory.services.stock.certificates import certify_lot
from inventory.services.stock.hold_verbs import decide_lot, hold_lot
from inventory.services.stock.ledger import Origin
from recipes.domain.formulas.formula import Basis, Stage
from recipes.domain.labels.ingredient_list import US, Convention
from recipes.errors import LabelRefusal, LyeHeavy
from recipes.models.bench.batches import BatchLine
from recipes.queries.bench.batches import batch_by_code
from recipes.services.bench.batches import cancel_batch, reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.finishing import Cut, cut_batch
from recipes.services.formulas.formulas import LineSpec, VersionSpec
from recipes.services.labels.labels import LabelWish, bar_label, rack_batch
from recipes.services.labels.went_in import went_in
from studio.foundation.errors import NotFound
from tests.inventory.making import TODAY, make_material
from tests.recipes.making import make_bench, next_version, planned, stock
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db
G = 10**9
#: More than the fats of the bench take.
NAOH = 120 * G
ADDED, RESULTS = (LabelWish(convention=one) for one in Convention)
INCI = {
    "olive": "Olea Europaea Fruit Oil",
    "coconut": "Cocos Nucifera Oil",
    "naoh": "Sodium Hydroxide",
    "water": "Aqua",
    "scent": "Parfum",
}


@pytest.fixture
def bench():
    made = make_bench()
    for code, name in INCI.items():
        material = made.materials[code]
        material.inci_name = name
        material.save()
    stock(made)
    return made


def poured(bench, actual=None):
    batch = planned(bench)
    reserve_batch(batch.code)
    rows = {row.material.code: row for row in BatchLine.objects.filter(batch=batch)}
    changed = {rows[code].position: amount for code, amount in (actual or {}).items()}
    pour_batch(batch.code, Poured(on=TODAY, actual=changed))
    return batch.code


def cut(bench, **actual):
    code = poured(bench, actual)
    cut_batch(code, Cut(on=TODAY, bars_good=8))
    return code


def codes(label):
    return [notice.code for notice in label.notices]


def test_a_plain_bar_in_both_conventions(bench):
    # Of 100 g of fats: 70 x 0.190 + 30 x 0.256 = 20.98 g KOH, less 6 % = 14.06 g NaOH, 0.3515 mol.
    # Lye of 33 %: 42.6 g, 28.3 g of it water. With 3 g scent and 0.3 g impurity 145.9 g, of which
    # 14.6 g dry off. Left: 13.7 g water, 0.3515 / 3 x 92.09 = 10.8 g glycerin, 4.2 g olive, 3 g
    # scent, 1.8 g coconut.
    code = cut(bench)
    assert bar_label(code, RESULTS).ingredients == (
        "Sodium Olivate",
        "Sodium Cocoate",
        "Aqua",
        "Glycerin",
        INCI["olive"],
        "Parfum",
        INCI["coconut"],
    )
    assert bar_label(code, ADDED).ingredients == (
        INCI["olive"],
        INCI["coconut"],
        "Aqua",
        "Sodium Hydroxide",
        "Parfum",
    )
    american = bar_label(code, LabelWish(convention=Convention.ADDED, wording=US))
    assert american.ingredients[2:] == ("Water", "Sodium Hydroxide", "Fragrance")


def test_superfat_and_masses_are_those_of_the_pour(bench):
    code = cut(bench, olive=500 * G)
    label = bar_label(code, RESULTS)
    batch = batch_by_code(code)
    assert label.listed.superfat.quantize(D("0.000001")) == pytest.approx(
        batch.superfat_poured, abs=D("0.000002")
    )
    listed = {item.name: item.mass_ng for item in bar_label(code, ADDED).listed.items}
    assert listed[INCI["olive"]] == 500 * G
    weighed = sum(row.actual for row in batch.lines.all() if row.stage != Stage.PACK.value)
    assert label.listed.in_ng == weighed
    assert label.listed.evaporated_ng == round(weighed * D("0.1"))


def test_the_lots_own_values_go_before_the_materials(bench):
    code = poured(bench)
    nominal = bar_label(code, RESULTS).listed.superfat
    certify_lot(Lot.objects.get(material__code="olive").pk, {"sv_mg_koh_g": D(195)})
    assert bar_label(code, RESULTS).listed.superfat > nominal


def test_allergens_come_from_the_lot_that_was_taken(bench):
    code = cut(bench)
    assert codes(bar_label(code, ADDED)) == [
        "no-best-before",
        "no-net-weight",
        "allergens-unstated",
    ]
    stated = [Allergen("Linalool", D("0.3")), Allergen("Citral", D("0.0001"))]
    certify_lot(Lot.objects.get(material__code="scent").pk, {"allergens": stated})
    label = bar_label(code, ADDED)
    assert [one.name for one in label.allergens.named] == ["Linalool"]
    assert label.ingredients[-1] == "Linalool"
    # 3 g of the 131.3 g that are left of 145.9 g; 30 % of that
    assert label.allergens.named[0].share == pytest.approx(D("0.00685"), abs=D("0.00015"))
    assert "allergens-unstated" not in codes(label)


def test_lot_best_before_and_weight_stand_on_the_label(bench):
    code = cut(bench)
    certify_lot(Lot.objects.get(code=code).pk, {"best_before": date(2028, 1, 31)})
    label = bar_label(code, LabelWish(net_weight_ng=100 * G))
    assert (label.lot_code, label.best_before) == (code, date(2028, 1, 31))
    assert codes(label) == ["allergens-unstated"]
    assert "local law" in label.statement


def test_a_plan_has_a_draft_that_says_what_it_is_not(bench):
    label = bar_label(planned(bench).code, RESULTS)
    assert label.ingredients[0] == "Sodium Olivate"
    assert codes(label)[0] == "not-cut"
    assert "allergens-unstated" in codes(label)


def test_colorants_acids_infusions_and_missing_names(bench):
    new = {
        "ocher": make_material("ocher", kind=Kind.COLORANT.value, inci_name="CI 77491"),
        "clove": make_material("clove", kind=Kind.ADDITIVE.value),
        "citric": make_material(
            "citric",
            kind=Kind.ACID.value,
            inci_name="Citric Acid",
            acid_naoh_g_per_g=D("0.6246"),
        ),
        "infused": make_material(
            "infused",
            sv_mg_koh_g=D(190),
            inci_name="Odd Oil, Calendula Officinalis Flower Extract",
        ),
    }
    lines = [
        LineSpec(material=bench.materials["olive"], basis=Basis.SHARE_OF_FATS, amount=D("0.9")),
        LineSpec(material=new["infused"], basis=Basis.SHARE_OF_FATS, amount=D("0.1")),
        LineSpec(
            material=bench.materials["coconut"],
            basis=Basis.OF_FATS,
            amount=D("0.02"),
            stage=Stage.TRACE,
        ),
        *(
            LineSpec(material=new[code], basis=Basis.OF_FATS, amount=D(amount), stage=stage)
            for code, amount, stage in (
                ("ocher", "0.05", Stage.TRACE),
                ("clove", "0.03", Stage.TOP),
                ("citric", "0.01", Stage.LYE),
            )
        ),
    ]
    version = bench.version
    next_version(
        bench.formula,
        VersionSpec(
            lines=lines,
            naoh=version.naoh,
            water=version.water,
            superfat=D("0.05"),
            lye_concentration=D("0.33"),
        ),
    )
    label = bar_label(planned(bench).code, RESULTS)
    names = label.ingredients
    assert names[-1] == "CI 77491"
    assert "Sodium Citrate" in names and "Saponified Odd Oil" in names and "Clove" in names
    # added at trace on top of the lye's fats: it stays what it is
    assert INCI["coconut"] in names and "Sodium Cocoate" not in names
    assert "Calendula Officinalis Flower Extract" in names
    assert {"inci-missing", "name-unpublished", "amount-unknown"} <= set(codes(label))
    contents = went_in(label.batch)
    toppings = sum(one.mass_ng for one in contents.ingoing if one.name == "Clove")
    assert contents.batter_ng + toppings == label.listed.in_ng


def test_what_must_not_be_sold_gets_no_label(bench):
    code = cut(bench)
    hold_lot(Lot.objects.get(code=code).pk, reason="recalled")
    with pytest.raises(LabelRefusal, match="recalled"):
        bar_label(code, RESULTS)
    called_off = planned(bench).code
    cancel_batch(called_off)
    for labeled in (lambda: bar_label(called_off, RESULTS), lambda: rack_batch(called_off)):
        with pytest.raises(LabelRefusal):
            labeled()
    with pytest.raises(NotFound):
        bar_label("none", RESULTS)
    with pytest.raises(LabelRefusal):
        bar_label(planned(bench).code, LabelWish(net_weight_ng=0))


def test_drying_beyond_the_water_is_told(bench):
    spec = VersionSpec(
        lines=[LineSpec(material=bench.materials["olive"], basis=Basis.SHARE_OF_FATS, amount=D(1))],
        naoh=bench.version.naoh,
        water=bench.version.water,
        superfat=D("0.05"),
        lye_concentration=D("0.4"),
        cure_loss_share=D("0.4"),
    )
    next_version(bench.formula, spec)
    code = planned(bench).code
    label = bar_label(code, RESULTS)
    assert "dries-beyond-water" in codes(label)
    assert "Aqua" not in label.ingredients
    assert "dries-beyond-water" not in codes(bar_label(code, ADDED))


def test_a_label_costs_a_fixed_number_of_queries(bench, django_assert_max_num_queries):
    code = cut(bench)
    with django_assert_max_num_queries(7):
        bar_label(code, RESULTS)


def decide(lot, outcome, **values):
    decision = Decision(outcome=outcome, reason="looked into", on=TODAY, **values)
    decide_lot(lot.pk, decision, by=person())


MEASURED = {"free_alkali": D("0.0004"), "measured_on": TODAY}


@pytest.mark.parametrize("before_the_cut", [True, False])
def test_bars_found_safe_by_a_measurement_have_a_label_that_tells_of_it(bench, before_the_cut):
    if before_the_cut:
        code = poured(bench, {"naoh": NAOH})
        decide(batch_by_code(code).poured_lot, Outcome.MEASURED, **MEASURED)
        cut_batch(code, Cut(on=TODAY, bars_good=8))
    else:
        code = cut(bench, naoh=NAOH)
        with pytest.raises(LabelRefusal, match="blocked"):
            bar_label(code, RESULTS)
        decide(batch_by_code(code).bar_lot, Outcome.MEASURED, **MEASURED)
    label = bar_label(code, RESULTS)
    (told,) = [notice.message for notice in label.notices if notice.code == "lye-decided"]
    assert "0.04 % free alkali" in told and str(TODAY) in told and "person-" in told
    assert label.listed.superfat < 0
    assert not {INCI["olive"], INCI["coconut"], INCI["naoh"]} & set(label.ingredients)
    assert bar_label(code, ADDED).ingredients[0] == INCI["olive"]


def test_what_was_said_to_be_gone_has_no_label(bench):
    code = cut(bench, naoh=NAOH)
    bars = batch_by_code(code).bar_lot
    spoil_lot(bars.pk, bars.on_hand, origin=Origin(reference="x:1", note="burns"))
    decide(bars, Outcome.DISPOSED)
    with pytest.raises(LyeHeavy):
        bar_label(code, RESULTS)


def test_sound_bars_say_nothing_of_a_decision(bench):
    assert "lye-decided" not in codes(bar_label(cut(bench), RESULTS))
