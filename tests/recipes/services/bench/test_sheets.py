"""The sheet with a masterbatch, protein liquids, portions, and what was weighed so far."""

from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.domain.catalog.materials import MaterialKind
from recipes.domain.formulas.formula import Basis, Stage
from recipes.errors import FormulaRefusal
from recipes.models.bench.batches import BatchLine
from recipes.services.bench.actuals import Reading, weigh_line
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.sheets import sheet_of
from recipes.services.bench.shelf import shelf_of
from recipes.services.formulas.formulas import LineSpec, VersionSpec
from tests.inventory.making import KG, make_lot, make_material
from tests.recipes.making import make_bench, next_version, planned, stock

G = KG // 1000


def add_stored(bench, **spec):
    """A version with a stored lye and a whole egg at the fats."""
    materials = bench.materials
    materials["stored"] = make_material(
        "stored", kind=MaterialKind.INTERMEDIATE.value, alkali="NaOH", purity=Decimal("0.5")
    )
    materials["egg"] = make_material(
        "egg",
        name="Whole egg",
        kind=MaterialKind.LIQUID.value,
        counted=True,
        piece_mass=50 * G,
        water_share=Decimal("0.76"),
        fat_share=Decimal("0.10"),
        tempering=True,
    )
    lines = [
        LineSpec(material=materials["olive"], basis=Basis.SHARE_OF_FATS, amount=Decimal(1)),
        LineSpec(material=materials["egg"], basis=Basis.PIECE_PER_FATS, amount=Decimal(500)),
    ]
    values = {
        "masterbatch": materials["stored"],
        "water": materials["water"],
        "superfat": Decimal("0.05"),
        "lye_concentration": Decimal("0.33"),
        "pour_temperature_c": Decimal(35),
    }
    return next_version(bench.formula, VersionSpec(lines=lines, **{**values, **spec}))


@pytest.mark.parametrize(("share", "kept"), [(None, Decimal("0.1")), (Decimal("0.25"),) * 2])
def test_the_lye_step_keeps_rinse_water_back(database, share, kept):
    bench = make_bench()
    add_stored(bench, rinse_share=share)
    stock(bench)
    sheet = sheet_of(planned(bench).code)
    water = BatchLine.objects.get(part="water").planned
    assert sheet.lye.water_ng == water and sheet.lye.naoh_ng == 0 < sheet.lye.masterbatch_ng
    assert sheet.lye.rinse_ng == int(water * kept / G) * G > 0
    assert sheet.steps[-1].startswith("Rinse")
    assert {"dilution-heat", "check-for-crystals"} <= {c.code for c in sheet.cautions}


def test_eggs_are_tempered_before_the_lye(database):
    bench = make_bench()
    add_stored(bench)
    stock(bench)
    sheet = sheet_of(planned(bench).code)
    assert "Whole egg" in sheet.tempering[0] and "35 °C" in sheet.tempering[-1]


def test_a_rinse_of_all_the_water_is_refused(database):
    bench = make_bench()
    for share in (Decimal(1), Decimal("-0.1")):
        with pytest.raises(FormulaRefusal) as refused:
            add_stored(bench, rinse_share=share)
        assert [fault.field for fault in refused.value.faults] == ["rinse_share"]
        for code in ("stored", "egg"):
            bench.materials.pop(code).delete()


def test_what_is_weighed_needs_no_more_of_the_shelf(database):
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    for row in BatchLine.objects.filter(batch=batch).exclude(stage="pack"):
        weigh_line(batch.code, Reading(position=row.position, amount=row.planned - G))
    assert shelf_of(batch.code).covered
    sheet = sheet_of(batch.code)
    for line in sheet.lines:
        assert line.short == 0
        assert sum(lot.amount for lot in line.lots) == line.amount
        if line.row.stage != Stage.PACK.value:
            assert line.amount == line.row.planned - G == line.actual.actual


def test_a_sheet_asks_no_more_the_more_lines_it_has(database):
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    with CaptureQueriesContext(connection) as few:
        sheet_of(batch.code)
    for number in range(20):
        material = make_material(f"extra-{number}")
        make_lot(material, KG)
        BatchLine.objects.create(
            batch=batch, position=50 + number, material=material, stage="trace", planned=G
        )
    with CaptureQueriesContext(connection) as many:
        sheet_of(batch.code)
    assert len(many.captured_queries) <= len(few.captured_queries) + 1
