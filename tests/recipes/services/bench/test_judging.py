"""What rests on a value is judged again when that is known otherwise: held, told, or not poured."""

from datetime import timedelta
from decimal import Decimal as D

import pytest
from django.db import transaction
from django.utils import timezone

from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.domain.catalog.unusual import UNUSUAL
from inventory.domain.stock.holds import Decision, Outcome
from inventory.models.alerts.alerts import Alert
from inventory.models.stock.holds import Hold
from inventory.models.stock.lots import Lot
from inventory.queries.stock.candidates import ChosenLot
from inventory.services.alerts.alerts import raise_alerts
from inventory.services.catalog.materials import save_material
from inventory.services.events import ValuesChanged
from inventory.services.stock.certificates import certify_lot
from inventory.services.stock.hold_verbs import decide_lot
from recipes.domain.formulas.formula import Basis, Stage
from recipes.domain.formulas.scaled import BatterTarget
from recipes.errors import UnsafeAsItStands
from recipes.models.bench.batches import Batch, BatchLine
from recipes.models.bench.judgements import Judgement
from recipes.models.formulas.formulas import FormulaKind
from recipes.queries.bench.judgements import judgement_of
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import Wish, make_plan
from recipes.services.bench import judging
from recipes.services.bench.batches import reserve_batch, unreserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.bench.resetting import reserve_on_lots
from recipes.services.bench.sheets import sheet_of
from recipes.services.cure.finishing import Cured, Cut, cure_batch, cut_batch
from recipes.services.formulas.formulas import LineSpec, VersionSpec, add_formula, add_version
from recipes.services.scaling.planning import plan_batch
from studio.foundation.doers import acting
from studio.work.jobs import Job, do_job
from studio.work.keeping import changed
from tests.inventory.making import KG, TODAY, make_lot, make_material
from tests.recipes.making import make_bench, planned, stock
from tests.studio.web.api.people import person

END = TODAY + timedelta(days=28)
NOW = timezone.localdate()


def lot_of(code):
    return Lot.objects.get(material__code=code)


def certify(code, **values):
    stated = {name: D(value) for name, value in values.items()}
    certify_lot(lot_of(code).pk, stated, confirmed=UNUSUAL)


def poured():
    """A sound batch that is poured."""
    batch = reserved()
    pour_batch(batch.code, Poured(on=TODAY))
    return Batch.objects.get(pk=batch.pk)


def reserved():
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    return Batch.objects.get(pk=batch.pk)


def causes(lot):
    return sorted(Hold.objects.filter(lot=lot, lifted_at=None).values_list("cause", flat=True))


def alerts():
    raise_alerts(now=timezone.now())
    return list(Alert.objects.filter(kind="turned-unsafe", closed_at=None))


@pytest.mark.parametrize("until", ["poured", "cut", "cured"])
def test_a_certificate_that_comes_later_holds_what_is_made_and_tells_once(database, until):
    batch = poured()
    made = [batch.poured_lot]
    if until != "poured":
        cut_batch(batch.code, Cut(on=TODAY, bars_good=7, reason="fell"))
        made.append(Batch.objects.get(pk=batch.pk).bar_lot)
    if until == "cured":
        cure_batch(batch.code, Cured(on=END))
        assert Lot.objects.get(pk=made[1].pk).state == "released"
    maker = person("maker")
    with acting(lambda: maker):
        certify("olive", sv_mg_koh_g=150)
    for lot in made:
        assert "lye-heavy" in causes(lot) and Lot.objects.get(pk=lot.pk).state == "blocked"
    (told,) = alerts()
    assert told.name == f"lot {lot_of('olive').code} of Olive"
    for word in ("B-00001", "150", "held", "an owner decides", "Lye-heavy"):
        assert word in told.reason
    judged = judgement_of(batch)
    assert (judged.is_safe, judged.by.username, judged.superfat < 0) == (
        False,
        maker.username,
        True,
    )
    assert Hold.objects.get(lot=made[0], cause="lye-heavy").by == judged.by


def test_one_change_is_one_alert_of_all_its_batches(database):
    bench = make_bench()
    stock(bench, 20 * KG)
    made, waiting = [planned(bench) for _ in range(2)], planned(bench)
    for batch in (*made, waiting):
        reserve_batch(batch.code)
    for batch in made:
        pour_batch(batch.code, Poured(on=TODAY))
    certify("olive", sv_mg_koh_g=150)
    (told,) = alerts()
    assert (told.figures["held"], told.figures["reserved"]) == (2, 1)
    assert all(batch.code in told.reason for batch in (*made, waiting))
    assert "give it back" in told.reason


def test_a_material_is_what_its_lots_rest_on_too(database):
    batch = poured()
    material = lot_of("naoh").material
    # 4 % less than was thought in each gram is safe; 4 % more is not.
    save_material(changed(material, {"purity": D("0.94")}))
    assert causes(batch.poured_lot) == ["cure"]
    olive = lot_of("olive").material
    save_material(changed(olive, {"sv_mg_koh_g": D(160), "sv_low_mg_koh_g": D(150)}))
    assert causes(batch.poured_lot) == ["cure", "lye-heavy"]
    assert [told.subject for told in alerts()] == ["material:olive"]


def test_what_is_on_the_label_alone_is_not_judged_by(database):
    batch = poured()
    olive = lot_of("olive").material
    save_material(changed(olive, {"inci_name": "Olea Europaea Fruit Oil", "note": "new"}))
    certify_lot(lot_of("olive").pk, {"supplier_lot": "77"})
    assert not Judgement.objects.exists() and causes(batch.poured_lot) == ["cure"]


def test_alkali_by_its_name_and_a_lower_maximum_count(database):
    batch = poured()
    certify("scent", ifra_category9_max="0.001")
    assert causes(batch.poured_lot) == ["cure", "over-limit"]
    coconut = lot_of("coconut").material
    save_material(changed(coconut, {"inci_name": "Sodium Hydroxide"}))
    assert causes(batch.poured_lot) == ["cure", "lye-heavy", "over-limit"]
    assert judgement_of(batch).subject == "material:coconut"


def blended(levels):
    """A soap whose olive comes `levels` blends down; poured. The lot of olive goes into it all."""
    bench = make_bench()
    stock(bench, 30 * KG)
    source = bench.materials["olive"]
    for level in range(levels):
        product = make_material(f"oil-{level}", kind=Kind.INTERMEDIATE.value, sv_mg_koh_g=D(190))
        blend = add_formula(
            code=f"mix-{level}", name=f"Mix {level}", kind=FormulaKind.BLEND, product=product
        )
        line = LineSpec(material=source, basis=Basis.OF_BATTER, amount=D(1))
        add_version(blend, VersionSpec(lines=[line]))
        batch = plan_batch(
            make_plan(load_formula(code=f"mix-{level}"), Wish(target=BatterTarget(5 * KG))),
            planned_on=TODAY,
        )
        reserve_batch(batch.code)
        pour_batch(batch.code, Poured(on=TODAY))
        source = product
    lines = [
        LineSpec(material=source, basis=Basis.SHARE_OF_FATS, amount=D(1), stage=Stage.FATS),
    ]
    spec = {"naoh": bench.materials["naoh"], "water": bench.materials["water"]}
    formula = add_formula(code="deep", name="Deep")
    add_version(
        formula,
        VersionSpec(lines=lines, superfat=D("0.05"), lye_concentration=D("0.33"), **spec),
    )
    soap = plan_batch(
        make_plan(load_formula(code="deep"), Wish(target=BatterTarget(KG))), planned_on=TODAY
    )
    reserve_batch(soap.code)
    pour_batch(soap.code, Poured(on=TODAY))
    return Batch.objects.get(pk=soap.pk)


@pytest.mark.parametrize("levels", [1, 3])
def test_any_number_of_blends_lies_between(database, levels):
    batch = blended(levels)
    certify("olive", sv_mg_koh_g=170)
    assert causes(batch.poured_lot) == ["cure", "lye-heavy"]


def test_what_was_only_reserved_cannot_be_poured_as_it_stands(database):
    batch = reserved()
    certify("olive", sv_mg_koh_g=150)
    assert judgement_of(batch).is_safe is False
    sheet = sheet_of(batch.code)
    assert "Lye-heavy" in sheet.warnings[0] and not sheet.steps
    (told,) = alerts()
    assert "choose other lots" in told.reason and told.figures["reserved"] == 1
    before = Lot.objects.count()
    same = {row.position: row.planned for row in BatchLine.objects.filter(batch=batch)}
    boxes = BatchLine.objects.get(batch=batch, material__code="box").position
    del same[boxes]
    for actual in ({}, same):
        with pytest.raises(UnsafeAsItStands, match="give back what it holds") as refused:
            pour_batch(batch.code, Poured(on=timezone.localdate(), actual=actual))
        assert "150" in str(refused.value)
    assert Batch.objects.get(pk=batch.pk).state == "reserved" and Lot.objects.count() == before
    unreserve_batch(batch.code)
    assert alerts() == [] and judgement_of(Batch.objects.get(pk=batch.pk)) is None
    reserve_on_lots(batch.code)
    assert pour_batch(batch.code, Poured(on=timezone.localdate())).lot.state == "quarantine"


def test_other_lots_are_a_way_out(database):
    batch = reserved()
    certify("olive", sv_mg_koh_g=150)
    row = BatchLine.objects.get(batch=batch, material__code="olive")
    other = make_lot(row.material, 5 * KG)
    chosen = {row.material_id: [ChosenLot(code=other.code, amount=row.planned)]}
    made = pour_batch(batch.code, Poured(on=TODAY, chosen=chosen))
    assert made.lot.state == "quarantine"


def test_what_was_weighed_otherwise_is_a_fact_recorded_and_held(database):
    batch = reserved()
    certify("olive", sv_mg_koh_g=150)
    row = BatchLine.objects.get(batch=batch, material__code="olive")
    made = pour_batch(
        batch.code, Poured(on=timezone.localdate(), actual={row.position: row.planned + 1})
    )
    assert made.lot.state == "blocked" and "lye-heavy" in causes(made.lot)


def test_what_was_poured_before_anybody_knew_is_a_fact_too(database):
    batch = reserved()
    certify("olive", sv_mg_koh_g=150)
    yesterday = timezone.localdate() - timedelta(days=1)
    made = pour_batch(batch.code, Poured(on=yesterday))
    assert made.lot.state == "blocked" and "lye-heavy" in causes(made.lot)


def test_a_correction_says_that_it_is_safe_again_and_an_owner_still_decides(database):
    batch = poured()
    certify("olive", sv_mg_koh_g=150)
    assert len(alerts()) == 1
    certify("olive", sv_mg_koh_g=189)
    judged = judgement_of(batch)
    assert judged.is_safe and "safe again" in judged.words and alerts() == []
    assert causes(batch.poured_lot) == ["cure", "lye-heavy"]
    decision = Decision(outcome=Outcome.SAFE, reason="typed wrongly", on=NOW)
    decide_lot(batch.poured_lot.pk, decision, by=person("owner"))
    assert causes(batch.poured_lot) == ["cure"]
    certify("olive", sv_mg_koh_g=150)  # it was right after all
    assert causes(batch.poured_lot) == ["cure", "lye-heavy"] and len(alerts()) == 1


def test_what_was_measured_is_held_again_only_where_it_is_worse(database):
    batch = poured()
    certify("olive", sv_mg_koh_g=150)
    measured = Decision(
        outcome=Outcome.MEASURED,
        reason="titrated",
        on=NOW,
        free_alkali=D("0.0004"),
        measured_on=NOW,
    )
    decide_lot(batch.poured_lot.pk, measured, by=person("owner"))
    assert alerts() == []
    certify("olive", sv_mg_koh_g=151)
    assert causes(batch.poured_lot) == ["cure"]
    certify("olive", sv_mg_koh_g=149)
    assert causes(batch.poured_lot) == ["cure", "lye-heavy"]


def test_what_was_only_reserved_is_no_measure_of_what_was_poured_of_other_lots(database):
    batch = reserved()
    certify("olive", sv_mg_koh_g=150)
    never_poured = judgement_of(batch)
    unreserve_batch(batch.code)
    row = BatchLine.objects.get(batch=batch, material__code="olive")
    other = make_lot(row.material, 5 * KG)
    chosen = {row.material_id: [ChosenLot(code=other.code, amount=row.planned)]}
    reserve_batch(batch.code, chosen=chosen)
    soap = pour_batch(batch.code, Poured(on=TODAY)).lot
    certify_lot(other.pk, {"sv_mg_koh_g": D(170)}, confirmed=UNUSUAL)
    slightly = judgement_of(Batch.objects.get(pk=batch.pk))
    measured = Decision(
        outcome=Outcome.MEASURED,
        reason="titrated",
        on=NOW,
        free_alkali=D("0.0004"),
        measured_on=NOW,
    )
    decide_lot(soap.pk, measured, by=person("owner"))
    assert causes(soap) == ["cure"]
    certify_lot(other.pk, {"sv_mg_koh_g": D(165)}, confirmed=UNUSUAL)
    worse = judgement_of(Batch.objects.get(pk=batch.pk))
    assert never_poured.superfat < worse.superfat < slightly.superfat < 0
    assert causes(soap) == ["cure", "lye-heavy"]


def test_what_is_as_unsafe_as_it_was_did_not_change(database):
    batch = poured()
    certify("olive", sv_mg_koh_g=150)
    lot = lot_of("olive")
    same = ValuesChanged(lots=frozenset({lot.pk}), subject="lot:1", name="lot 1", words="again")
    before = judgement_of(batch)
    with transaction.atomic():
        assert judging.judge_batches([batch.pk], same) == 0
    after = judgement_of(batch)
    assert (after.pk, after.words, after.superfat) == (before.pk, before.words, before.superfat)
    certify("olive", sv_mg_koh_g=149)  # worse, so that the figures follow
    assert judgement_of(batch).superfat < before.superfat


def test_many_batches_are_judged_by_workers_at_once(database, monkeypatch):
    monkeypatch.setattr(judging, "AT_ONCE", 1)
    bench = make_bench()
    stock(bench, 20 * KG)
    made = [planned(bench) for _ in range(2)]
    for batch in made:
        reserve_batch(batch.code)
        pour_batch(batch.code, Poured(on=TODAY))
    certify("olive", sv_mg_koh_g=150)
    parts = Job.objects.filter(name=judging.JUDGING, parent__isnull=False)
    assert parts.count() == 2 and not Judgement.objects.exists()
    for part in parts:
        do_job(part.pk, now=timezone.now())
        do_job(part.pk, now=timezone.now())  # a message that comes twice does nothing
    assert Job.objects.get(name=judging.JUDGING, parent=None).outcome == {"changed": 2}
    for batch in made:
        assert "lye-heavy" in causes(Batch.objects.get(pk=batch.pk).poured_lot)
    assert len(alerts()) == 1
