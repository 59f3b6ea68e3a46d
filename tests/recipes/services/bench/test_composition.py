"""What lots consist of, from the bench: through blends, with certificates that come later."""

from decimal import Decimal as D

import pytest

from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.domain.stock.holds import Cause, Decision, Outcome
from inventory.errors import LotHeld, MaterialRefusal
from inventory.models.catalog.materials import Material
from inventory.models.stock.lots import Lot
from inventory.queries.stock.contents import contents_of
from inventory.services.catalog.materials import save_material
from inventory.services.stock.certificates import certify_lot
from inventory.services.stock.hold_verbs import decide_lot
from inventory.services.stock.proof import prove_books
from recipes.domain.formulas.formula import Basis, Stage
from recipes.domain.formulas.scaled import BatterTarget, FatTarget
from recipes.errors import FormulaRefusal, FragranceOverMaximum, LyeHeavy, UnsafeAsItStands
from recipes.models.bench.batches import BatchLine
from recipes.models.bench.judgements import Judgement
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import Wish, make_plan
from recipes.services.bench.actuals import Reading, weigh_line
from recipes.services.bench.as_made import actuals_of
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.bench.sheets import sheet_of
from recipes.services.bench.unsafe_alerts import turned_unsafe
from recipes.services.formulas.formulas import LineSpec, VersionSpec
from recipes.services.scaling.planning import plan_batch
from studio.foundation.errors import InvalidInput
from studio.work.keeping import changed
from tests.inventory.making import KG, TODAY, make_lot, make_material
from tests.recipes.levels import blend_of, fill, make_levels
from tests.recipes.making import make_bench, next_version, planned, stock
from tests.studio.web.api.people import person

G = KG // 1000


@pytest.fixture
def levels(database):
    made = make_levels()
    fill(made)
    return made


def mixed(levels, code, amount=KG, *, actual=None, **poured):
    """A batch of a blend, made of what is there."""
    plan = make_plan(load_formula(code=f"make-{code}"), Wish(target=BatterTarget(amount)))
    batch = plan_batch(plan, planned_on=TODAY)
    reserve_batch(batch.code)
    rows = {row.material.code: row.position for row in BatchLine.objects.filter(batch=batch)}
    used = {rows[name]: weight for name, weight in (actual or {}).items()}
    return pour_batch(batch.code, Poured(on=TODAY, actual=used, **poured)).lot


def inside(lot):
    return contents_of([lot.pk])[lot.pk]


def test_a_masterbatch_is_as_strong_as_its_alkali_over_what_is_left(levels):
    # 1,020 g of 98 % with 980 g of water; 80 g steamed off: 999.6 / 1,920 (balance of mass).
    used = {"naoh": 1020 * G, "water": 980 * G}
    lye = mixed(levels, "lye", 2 * KG, actual=used, output_ng=1920 * G)
    assert lye.steam == 80 * G and lye.purity is None
    assert round(inside(lye).naoh.usual, 4) == D("0.5206")
    certify_lot(lye.pk, {"purity": D("0.515")})  # titrated
    assert inside(lye).naoh.usual == D("0.515")


def test_what_stays_in_the_pot_as_planned_makes_no_lye_stronger(levels):
    blend_of(levels, "weak", {"naoh": "0.3", "water": "0.7"}, pot_loss_share=D("0.05"))
    lye = mixed(levels, "weak", 950 * G, output_ng=950 * G)
    assert not lye.steam and inside(lye).naoh.usual == D("0.294")


def test_more_cannot_come_out_than_went_in(levels):
    room = 3 * G  # two weighings in, one out, on a scale of 1 g
    with pytest.raises(InvalidInput, match="More came out") as refused:
        mixed(levels, "lye", KG, output_ng=KG + room + 1)
    assert [fault.field for fault in refused.value.faults] == ["poured"]
    assert mixed(levels, "lye", KG, output_ng=KG + room).received_amount == KG + room


def test_a_certificate_that_comes_later_reaches_every_level(levels):
    blend_of(levels, "clayed", {"olive": "0.8", "clay": "0.2"})
    blend_of(levels, "twice", {"clayed": "0.5", "coconut": "0.5"})
    clayed = mixed(levels, "clayed")
    twice = mixed(levels, "twice")
    assert (inside(clayed).demand.usual, inside(twice).demand.usual) == (D(152), D(204))
    olive = Lot.objects.get(material__code="olive")
    certify_lot(olive.pk, {"sv_mg_koh_g": D(178)})
    assert inside(clayed).demand.usual == D("142.4")
    assert inside(twice).demand.usual == D("199.2")


def test_herbs_that_were_strained_out_gave_only_their_name(levels):
    oil = inside(mixed(levels, "infused"))
    assert oil.demand.usual == D(190)
    assert [leaf.code for leaf in oil.leaves] == ["olive"]
    assert [leaf.code for leaf in oil.strained] == ["petals"]


def test_stored_lye_two_blends_down_is_seen(levels):
    """What became lye after it was named as a line is counted from the lots it came of."""
    syrup = make_material("syrup", kind=Kind.ADDITIVE.value)
    make_lot(syrup, 5 * KG)
    levels.materials["syrup"] = syrup
    blend_of(levels, "thin", {"syrup": "0.2", "water": "0.8"})
    blend_of(levels, "thinner", {"thin": "0.5", "water": "0.5"})
    make_lot(levels.materials["water"], 20 * KG)
    mixed(levels, "thin", 2 * KG)
    thinner = mixed(levels, "thinner", 2 * KG)
    assert not inside(thinner).naoh
    syrup.inci_name = "Aqua, Sodium Hydroxide"
    syrup.save()
    assert inside(thinner).naoh.usual == D("0.1")
    certify_lot(Lot.objects.get(material=syrup).pk, {"purity": D("0.5")})
    assert inside(thinner).naoh.usual == D("0.05")
    assert not thinner.material.alkali  # what went in says that it has a strength
    # More than went in says: it is asked about, and stands once it is confirmed.
    with pytest.raises(MaterialRefusal, match="contradicts what went into this lot"):
        certify_lot(thinner.pk, {"purity": D("0.06")})
    certify_lot(thinner.pk, {"purity": D("0.06")}, confirmed=["purity-contradicts-parts"])
    assert inside(thinner).naoh.usual == D("0.06")


def with_line(bench, material, share="0.05", **spec):
    """A soap of olive alone with one more line."""
    lines = [
        LineSpec(material=bench.materials["olive"], basis=Basis.SHARE_OF_FATS, amount=D(1)),
        LineSpec(material=material, basis=Basis.OF_FATS, amount=D(share), stage=Stage.TRACE),
    ]
    values = {
        "naoh": bench.materials["naoh"],
        "water": bench.materials["water"],
        "superfat": D("0.05"),
        "lye_concentration": D("0.33"),
    }
    return next_version(bench.formula, VersionSpec(lines=lines, **values, **spec))


def a_batch(**spec):
    bench = make_bench()
    soda = make_material("soda", kind=Kind.ADDITIVE.value)
    bench.materials["soda"] = soda
    stock(bench)
    with_line(bench, soda, **spec)
    return bench, planned(bench, target=FatTarget(KG))


def test_alkali_that_a_material_turns_out_to_be_is_counted_after_the_plan(database):
    bench, batch = a_batch()
    soda = bench.materials["soda"]
    soda.inci_name = "Sodium Hydroxide"
    soda.save()
    with pytest.raises(FormulaRefusal):
        planned(bench, target=FatTarget(KG))
    with pytest.raises(LyeHeavy):
        reserve_batch(batch.code)


def test_alkali_that_is_found_out_once_it_is_reserved_blocks_what_is_poured(database):
    bench, batch = a_batch()
    reserve_batch(batch.code)
    bench.materials["soda"].inci_name = "Sodium Hydroxide"
    bench.materials["soda"].save()
    shown = actuals_of(batch.code)
    assert shown.lye_heavy and "Lye-heavy" in shown.unsafe
    sheet = sheet_of(batch.code)
    assert sheet.steps == () and "Lye-heavy" in sheet.warnings[0] and sheet.cautions
    with pytest.raises(UnsafeAsItStands, match="Lye-heavy"):
        pour_batch(batch.code, Poured(on=TODAY))
    soda = BatchLine.objects.get(batch=batch, material__code="soda")
    poured = pour_batch(batch.code, Poured(on=TODAY, actual={soda.position: soda.planned - 1}))
    assert poured.safety.superfat < 0 and poured.lot.state == "blocked"


def test_an_alkali_that_is_kept_as_another_by_now_is_refused_at_every_step(database):
    bench = make_bench()
    stock(bench)
    early, late = planned(bench), planned(bench)
    reserve_batch(late.code)
    material = bench.materials["naoh"]
    material.alkali = "KOH"
    material.save()
    steps = (
        lambda: planned(bench),
        lambda: reserve_batch(early.code),
        lambda: pour_batch(late.code, Poured(on=TODAY)),
    )
    for step in steps:
        with pytest.raises(FormulaRefusal, match="not kept as NaOH") as refused:
            step()
        assert [(f.field, f.code) for f in refused.value.faults] == [("naoh", "not-that-alkali")]


def test_a_fragrance_counts_toward_its_limit_inside_a_blend(database):
    """IFRA's maximum is one of the finished product: 5 % of a blend of half scent are 2.5 %."""
    bench = make_bench()
    scented = make_material("scented", kind=Kind.INTERMEDIATE.value)
    levels = type("Shelf", (), {"materials": {**bench.materials, "scented": scented}})
    blend_of(levels, "scented", {"scent": "0.5", "olive": "0.5"})
    stock(bench)
    bench.materials["scent"].ifra_category9_max = D("0.01")
    bench.materials["scent"].save()
    with_line(bench, scented, "0.05")
    with pytest.raises(FragranceOverMaximum, match="allows 1 %"):
        planned(bench, target=FatTarget(KG))
    with_line(bench, scented, "0.02")
    mixed(levels, "scented")
    batch = planned(bench, target=FatTarget(KG))
    held = reserve_batch(batch.code)
    (found,) = held.safety.fragrances
    assert found.code == "scent" and D("0.006") < found.share < D("0.01")
    certify_lot(Lot.objects.get(material__code="scent").pk, {"ifra_category9_max": D("0.005")})
    assert "allows 0.5 %" in actuals_of(batch.code).unsafe
    assert pour_batch(batch.code, Poured(on=TODAY)).lot.state == "blocked"


def test_a_pour_without_alkali_is_recorded_and_held(database):
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    row = BatchLine.objects.get(batch=batch, part="naoh")
    weigh_line(batch.code, Reading(position=row.position, amount=0))
    poured = pour_batch(batch.code, Poured(on=TODAY))
    assert poured.lot.state == "blocked" and "no alkali" in poured.lot.state_reason


def test_a_pour_whose_fats_weigh_nothing_is_recorded_and_held(database):
    """A pour is a fact, and what cannot be judged is held."""
    owner, bench = person("owner"), make_bench()
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    left_out = ("olive", "coconut", "scent")
    for row in BatchLine.objects.filter(batch=batch, material__code__in=left_out):
        weigh_line(batch.code, Reading(position=row.position, amount=0))
    sheet = sheet_of(batch.code)
    assert sheet.actuals.superfat is None and sheet.actuals.safety is None
    assert "no fat in it" in sheet.actuals.unsafe and sheet.steps == ()
    made = pour_batch(batch.code, Poured(on=TODAY))
    assert made.safety is None and made.batch.superfat_poured is None
    assert made.lot.state == "blocked" and "no fat in it" in made.lot.state_reason
    assert set(made.lot.holds.values_list("cause", flat=True)) == {"cure", "lye-heavy"}
    assert prove_books().holds
    # A value that comes later judges it no better, and holds it no second time.
    certify_lot(Lot.objects.get(material__code="naoh").pk, {"purity": D("0.97")})
    assert made.lot.holds.count() == 2
    with pytest.raises(LotHeld, match="still not safe"):
        decide_lot(made.lot.pk, Decision(outcome=Outcome.SAFE, reason="x", on=TODAY), by=owner)
    measured = Decision(
        outcome=Outcome.MEASURED,
        reason="titrated",
        on=TODAY,
        free_alkali=D(0),
        measured_on=TODAY,
    )
    assert decide_lot(made.lot.pk, measured, by=owner).state == "quarantine"
    certify_lot(Lot.objects.get(material__code="naoh").pk, {"purity": D("0.96")})
    assert Lot.objects.get(pk=made.lot.pk).state == "quarantine"


def test_a_pour_without_fats_is_held_for_its_fragrance_beside_its_lye(database):
    """What was for a loaf is too much for its lye alone; each has its own way out."""
    owner, bench = person("owner"), make_bench()
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    rows = {row.material.code: row for row in BatchLine.objects.filter(batch=batch)}
    actual = {rows[code].position: 0 for code in ("olive", "coconut")}
    actual[rows["scent"].position] = rows["scent"].planned * 5
    lot = pour_batch(batch.code, Poured(on=TODAY, actual=actual)).lot
    held = dict(lot.holds.values_list("cause", "reason"))
    assert held.keys() == {"cure", "lye-heavy", "over-limit"}
    assert "no fat in it" in held["lye-heavy"] and "IFRA category 9" in held["over-limit"]
    safe = Decision(outcome=Outcome.SAFE, reason="x", on=TODAY)
    with pytest.raises(LotHeld, match="still not safe"):
        decide_lot(lot.pk, safe, cause=Cause.LIMIT, by=owner)
    # A certificate that allows as much as there is says nothing of its lye.
    certify_lot(Lot.objects.get(material__code="scent").pk, {"ifra_category9_max": D(1)})
    decide_lot(lot.pk, safe, cause=Cause.LIMIT, by=owner)
    lifted = lot.holds.get(cause="over-limit")
    assert "no fragrance is above its maximum" in lifted.lifted_reason
    left = lot.holds.filter(lifted_at=None).values_list("cause", flat=True)
    assert set(left) == {"cure", "lye-heavy"}


def test_poured_soap_of_which_no_value_is_known_any_more_is_held(database):
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    lot = pour_batch(batch.code, Poured(on=TODAY)).lot
    assert lot.state == "quarantine"
    empty = dict.fromkeys(("sv_mg_koh_g", "sv_low_mg_koh_g", "sv_high_mg_koh_g"))
    for code in ("olive", "coconut"):
        save_material(changed(Material.objects.get(code=code), empty), tuple(empty))
    lot.refresh_from_db()
    # The first of them made it lye-heavy, and the hold of that stands.
    assert lot.state == "blocked" and "Lye-heavy" in lot.state_reason
    standing = Judgement.objects.get(stands=True)
    assert (standing.is_safe, standing.superfat) == (False, None)
    (found,) = turned_unsafe(None)
    assert found.figures["lowest_superfat"] == "not known"
