"""The shelf check and the sheet: what covers a plan, and where each line's weight comes from."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.domain.stock.lots import LotState
from recipes.domain.formulas.formula import Basis, Stage
from recipes.models.bench.batches import BatchLine
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import Wish, make_plan
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.bench.sheets import sheet_of
from recipes.services.bench.shelf import check_shelf, shelf_of
from recipes.services.cure.finishing import Cut, cut_batch
from recipes.services.formulas.formulas import LineSpec, VersionSpec
from studio.foundation.errors import NotFound
from tests.inventory.making import KG, TODAY, make_lot
from tests.inventory.services.stock.test_reservations import statements
from tests.recipes.making import make_bench, next_version, planned, stock

G = KG // 1000


def by_code(lines):
    return {line.material.code: line for line in lines}


def test_first_expired_goes_first_and_expired_or_blocked_lots_do_not_count(database):
    bench = make_bench()
    olive = bench.materials["olive"]
    for days, state in (
        (-1, LotState.RELEASED),
        (9, LotState.BLOCKED),
        (60, LotState.RELEASED),
    ):
        make_lot(olive, 3 * KG, best_before=TODAY + timedelta(days), state=state)
    soon = make_lot(olive, 100 * G, best_before=TODAY + timedelta(3))
    plan = make_plan(load_formula(code="plain"), Wish(mold=bench.mold))
    line = by_code(check_shelf(plan.needs, plan.materials, on=TODAY))["olive"]
    assert line.available == 3 * KG + 100 * G
    assert line.picks[0].lot.id == soon.pk and line.picks[0].amount == 100 * G
    assert sum(pick.amount for pick in line.picks) == line.needed and line.short == 0


def test_what_is_short_has_no_picks(database):
    bench = make_bench()
    stock(bench, amount=100 * G)
    plan = make_plan(load_formula(code="plain"), Wish(mold=bench.mold))
    lines = by_code(check_shelf(plan.needs, plan.materials, on=TODAY))
    assert lines["olive"].short == lines["olive"].needed - 100 * G > 0
    assert lines["olive"].picks == () and lines["olive"].covered_on is None
    assert lines["box"].short == 0


def test_a_plan_is_checked_in_at_most_four_queries(database):
    bench = make_bench()
    stock(bench, amount=100 * G)
    plan = make_plan(load_formula(code="plain"), Wish(mold=bench.mold))
    with CaptureQueriesContext(connection) as captured:
        check_shelf(plan.needs, plan.materials, on=TODAY)
    assert len(statements(captured.captured_queries)) <= 4


def shared_water(bench):
    """A version whose water goes into the lye and, dyed, into the trace as well."""
    materials = bench.materials
    lines = [
        LineSpec(material=materials["olive"], basis=Basis.SHARE_OF_FATS, amount=Decimal(1)),
        LineSpec(
            material=materials["water"],
            basis=Basis.OF_FATS,
            amount=Decimal("0.05"),
            stage=Stage.TRACE,
        ),
    ]
    return next_version(
        bench.formula,
        VersionSpec(
            lines=lines,
            naoh=materials["naoh"],
            water=materials["water"],
            superfat=Decimal("0.05"),
            lye_concentration=Decimal("0.3"),
        ),
    )


def test_the_sheet_deals_a_materials_lots_out_to_its_lines(database):
    bench = make_bench()
    shared_water(bench)
    for code, amount in (("olive", 2 * KG), ("naoh", KG), ("water", 200 * G), ("water", KG)):
        make_lot(bench.materials[code], amount)
    batch = planned(bench)
    for reserve in (False, True):
        if reserve:
            reserve_batch(batch.code, accept_worst=Decimal("-0.001"))
        sheet = sheet_of(batch.code)
        assert [stage for stage, _ in sheet.stages] == [Stage.FATS, Stage.LYE, Stage.TRACE]
        lines = [line for _, some in sheet.stages for line in some]
        for line in lines:
            assert line.short == 0
            assert sum(lot.amount for lot in line.lots) == line.amount == line.row.planned
        taken = {}
        for line in lines:
            for lot in line.lots:
                taken[lot.lot] = taken.get(lot.lot, 0) + lot.amount
        water = [line for line in lines if line.row.material.code == "water"]
        assert len(water) == 2 and 200 * G in taken.values()
    assert sheet.safety is not None and sheet.safety.superfat >= Decimal("0.05")


def test_a_sheet_always_carries_the_cautions_and_the_lye_step(database):
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    naoh = BatchLine.objects.get(batch=batch, part="naoh")

    def looked():
        sheet = sheet_of(batch.code)
        codes = [caution.code for caution in sheet.cautions]
        assert {"lye-burns", "lye-into-water", "rinse-and-seek-help"} <= set(codes)
        assert "of NaOH" in " ".join(sheet.steps)
        return sheet

    assert looked().lye.naoh_ng == naoh.planned
    reserve_batch(batch.code)
    looked()
    pour_batch(batch.code, Poured(on=TODAY, actual={naoh.position: naoh.planned - G}))
    poured = looked()
    assert poured.lye.naoh_ng == naoh.planned - G
    assert all(line.short == 0 for _, lines in poured.stages for line in lines)
    cut_batch(batch.code, Cut(on=TODAY, bars_good=8))
    looked()


def test_what_is_held_is_not_short_when_others_want_the_rest(database):
    bench = make_bench()
    stock(bench, amount=700 * G)
    first, second = planned(bench), planned(bench)
    assert shelf_of(first.code).covered and shelf_of(second.code).covered
    reserve_batch(first.code)
    assert shelf_of(first.code).covered
    others = shelf_of(second.code)
    assert not others.covered
    olive = by_code(others.lines)["olive"]
    assert (olive.held, olive.shelf.available) == (0, 700 * G - olive.needed)


@pytest.mark.django_db
def test_a_batch_that_is_not_there():
    for look in (shelf_of, sheet_of):
        with pytest.raises(NotFound):
            look("B-9")
