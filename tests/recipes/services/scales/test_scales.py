"""Scales that are kept decide on what each line is weighed, from the plan to the cut."""

from datetime import timedelta
from decimal import Decimal as D

import pytest
from django.db import IntegrityError, transaction

from recipes.domain.formulas.formula import Basis, Stage
from recipes.domain.formulas.scaled import BatterTarget, FatTarget
from recipes.errors import ScalingRefusal
from recipes.models.bench.batches import BatchLine
from recipes.models.cure.finishing import CutRecord
from recipes.models.scales.scales import Scale
from recipes.paper.sheet import sheet_values
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import Wish, make_plan
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.bench.resetting import reserve_on_lots
from recipes.services.bench.sheets import sheet_of
from recipes.services.cure.finishing import Cut, cut_batch
from recipes.services.formulas.formulas import LineSpec, VersionSpec, add_formula, add_version
from recipes.services.scales.scales import add_scale, save_scale
from recipes.services.scaling.planning import plan_batch
from studio.foundation.errors import InvalidInput
from studio.models import ChangedMeanwhile
from studio.work.keeping import changed
from tests.inventory.making import TODAY
from tests.recipes.making import make_bench, planned, stock
from tests.recipes.scales import KG, MG, G, make_scales

ALKALI = ("naoh", "koh", "masterbatch")


def weighed(plan):
    return {line.material.code: line.weighed for line in plan.lines}


def planned_of(batch):
    return dict(BatchLine.objects.filter(batch=batch).values_list("position", "planned"))


def plan_of(bench, fats=KG):
    return make_plan(load_formula(code=bench.formula.code), Wish(target=FatTarget(fats), bars=8))


@pytest.mark.parametrize(
    ("values", "faults"),
    [
        ({"step": 0}, [("out-of-range", "step")]),
        ({"step": KG + 1}, [("out-of-range", "step")]),
        ({"capacity": 0}, [("out-of-range", "capacity")]),
        ({"capacity": 10 * 1000 * KG + 1}, [("out-of-range", "capacity")]),
        ({"capacity": G - 1}, [("holds-too-little", "capacity")]),
        ({"code": "bench"}, [("unique", "code")]),
        ({"name": "Bench scale"}, [("unique", "name")]),
        ({"code": "new"}, [("reserved-code", "code")]),
        ({"name": ""}, [("blank", "name")]),
    ],
)
def test_a_scale_that_cannot_be_is_refused(db, values, faults):
    make_scales()
    given = {"code": "third", "name": "Third", "step": G, "capacity": KG, **values}
    with pytest.raises(InvalidInput) as refused:
        add_scale(**given)
    assert [(fault.code, fault.field) for fault in refused.value.faults] == faults
    assert Scale.objects.count() == 2


def test_the_tables_refuse_what_the_service_does(database):
    for values in ({"step": 0, "capacity": G}, {"step": G, "capacity": G - 1}):
        with pytest.raises(IntegrityError), transaction.atomic():
            Scale.objects.create(code="odd", name="Odd", **values)


def test_only_what_was_named_is_saved_and_not_over_another_change(db):
    bench, _ = make_scales()
    stale = Scale.objects.get(pk=bench.pk)
    save_scale(changed(bench, {"note": "by the window"}), ["note"], expected=[bench.revision])
    with pytest.raises(ChangedMeanwhile):
        save_scale(changed(stale, {"step": G}), ["step"], expected=[stale.revision])
    kept = Scale.objects.get(pk=bench.pk)
    assert (kept.step, kept.note, kept.revision) == (100 * MG, "by the window", 2)


def test_each_line_of_a_plan_is_weighed_on_the_finest_that_holds_it(database):
    bench = make_bench()
    by_recipe = plan_of(bench)
    assert {how.name for how in weighed(by_recipe).values() if how} == {""}
    make_scales()
    on = weighed(plan_of(bench))
    assert on["box"] is None
    assert {code: how.name for code, how in on.items() if how} == {
        "olive": "Floor scale",
        "coconut": "Bench scale",
        "scent": "Bench scale",
        "naoh": "Bench scale",
        "water": "Bench scale",
    }
    assert (on["olive"].step_ng, on["naoh"].step_ng, on["olive"].goes) == (5 * G, 100 * MG, 1)


def test_a_scale_that_is_no_longer_used_weighs_nothing(db):
    bench = make_bench()
    fine, floor = make_scales()
    save_scale(changed(fine, {"active": False}), ["active"])
    assert {how.name for how in weighed(plan_of(bench)).values() if how} == {"Floor scale"}
    save_scale(changed(floor, {"active": False}), ["active"])
    assert {how.name for how in weighed(plan_of(bench)).values() if how} == {""}


def test_alkali_is_rounded_down_whatever_it_is_taken_as(db):
    bench = make_bench()
    exact = {}
    for step in (1, 100 * MG, 5 * G):
        Scale.objects.all().delete()
        add_scale(code="only", name="Only", step=step, capacity=60 * KG)
        plan = plan_of(bench)
        (alkali,) = [line for line in plan.lines if line.part.value in ALKALI]
        exact.setdefault("naoh", alkali.amount)
        assert alkali.amount == exact["naoh"] // step * step
        assert plan.scaled.superfat >= D("0.06")


def test_the_alkali_of_a_blend_is_rounded_down_too_and_never_to_nothing(db):
    bench = make_bench()
    lye = add_formula(code="make-lye", name="Lye", kind="blend")
    lines = [
        LineSpec(material=bench.materials[code], basis=Basis.OF_BATTER, amount=D(share))
        for code, share in (("naoh", "0.335"), ("water", "0.665"))
    ]
    add_version(lye, VersionSpec(lines=lines))
    make_scales()

    def amounts(batter):
        plan = make_plan(load_formula(code="make-lye"), Wish(target=BatterTarget(batter)))
        return {line.material.code: line.amount for line in plan.lines}

    # 33.5 % of 100.2 g are 33.567 g.
    assert amounts(100_200 * MG)["naoh"] == 33_500 * MG
    with pytest.raises(ScalingRefusal, match="no scale here weighs its Naoh"):
        amounts(200 * MG)


def test_a_pinch_stays_in_the_plan_the_requirement_and_the_sheet_and_is_told(database):
    bench = make_bench()
    pinch = LineSpec(
        material=bench.materials["scent"], basis=Basis.FIXED, amount=D("0.03"), stage=Stage.TRACE
    )
    lines = [
        LineSpec(material=bench.materials["olive"], basis=Basis.SHARE_OF_FATS, amount=D(1)),
        pinch,
    ]
    spec = VersionSpec(
        lines=lines,
        naoh=bench.materials["naoh"],
        water=bench.materials["water"],
        superfat=D("0.05"),
        lye_concentration=D("0.33"),
    )
    add_version(add_formula(code="pinch", name="Pinch"), spec)
    make_scales()
    plan = make_plan(load_formula(code="pinch"), Wish(target=FatTarget(KG), bars=8))
    assert plan.needs[bench.materials["scent"].pk] == 30 * MG
    assert [notice.code for notice in plan.notices if notice.field.startswith("lines.1")] == [
        "finer-than-scale"
    ]
    sheet = sheet_of(plan_batch(plan, planned_on=TODAY).code)
    assert any("0.03 g is less than can be weighed" in warning for warning in sheet.warnings)


def test_the_sheet_says_on_which_scale_and_without_one_that_none_is_kept(database):
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    before = sheet_values(sheet_of(batch.code))
    assert dict(before["facts"])["Scale shows"] == "1 g, by the recipe: no scale is kept"
    assert {line["scale"] for stage in before["stages"] for line in stage["lines"]} == {""}
    make_scales(holds=200 * G)
    values = sheet_values(sheet_of(batch.code))
    assert dict(values["facts"])["Scales"] == "Bench scale (0.1 g), Floor scale (5 g)"
    scales = {line["name"]: line["scale"] for stage in values["stages"] for line in stage["lines"]}
    assert scales["Naoh"] == "on Bench scale, 0.1 g" and scales["Box"] == ""


def test_what_no_scale_holds_is_weighed_in_goes(db):
    bench = make_bench()
    make_scales()
    plan = plan_of(bench, fats=200 * KG)
    assert weighed(plan)["olive"].goes == 3
    assert any("in 3 goes on Floor scale" in notice.message for notice in plan.notices)


def test_batches_planned_before_keep_their_weights_until_their_lye_is_set_anew(database):
    bench = make_bench()
    stock(bench)
    batch, other = planned(bench), planned(bench)
    before = planned_of(batch)
    make_scales(bench=10 * G, holds=60 * KG)
    assert planned_of(planned(bench)) != before
    reserve_batch(batch.code)
    assert planned_of(batch) == before
    stock(bench)
    reserve_on_lots(other.code)
    lye = BatchLine.objects.filter(batch=other, part__in=("naoh", "water"))
    assert all(line.planned % (5 * G) == 0 for line in lye)


def test_the_cut_is_allowed_what_the_scales_may_account_for(database):
    bench = make_bench()
    stock(bench)
    made = planned(bench)
    make_scales()
    reserve_batch(made.code)
    pour_batch(made.code, Poured(on=TODAY, output_ng=1000 * G))
    cut = Cut(on=TODAY + timedelta(days=1), bars_good=8)
    # All bars at once and the pour are two readings of the floor scale, the ends one of the other.
    states = {"good_weight": 990 * G, "ends_weight": 20 * G}
    with pytest.raises(InvalidInput, match=r"account for 10.1 g at most"):
        cut_batch(made.code, Cut(on=cut.on, bars_good=8, **{**states, "ends_weight": 21 * G}))
    cut_batch(made.code, Cut(on=cut.on, bars_good=8, **states))
    assert CutRecord.objects.get(batch=made).allowance == 10_100 * MG
