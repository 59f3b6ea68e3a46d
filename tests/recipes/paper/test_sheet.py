"""The batch sheet on paper: all of it is there, nothing is cut off, nothing is printed over."""

from datetime import date
from decimal import Decimal

import pytest

from inventory.domain.catalog.materials import MaterialKind
from recipes.domain.bench.cautions import cautions_for
from recipes.models.bench.batches import Batch, BatchLine
from recipes.paper.amounts import ounces_text
from recipes.paper.sheet import SHEET, drawing_for, paper_values, sheet_values
from recipes.services.bench.actuals import BenchRecord, Reading, record_bench, weigh_line
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.bench.sheets import sheet_of
from studio.foundation.paper.codes import qr_svg
from studio.foundation.paper.rendering import render_pdf
from tests.inventory.making import KG, TODAY, make_lot, make_material
from tests.recipes.making import make_bench, planned, stock
from tests.recipes.services.scaling.test_portions import split_version
from tests.studio.foundation.paper.reading import (
    pages_of,
    sizes_of,
    text_of,
    words_outside,
    words_overlapping,
)

pytestmark = pytest.mark.django_db
G = KG // 1000
PAPERS = ("a4", "us-letter")
LONG_NAME = "Sweet almond oil, cold-pressed, organic, second harvest, " + "W" * 63


def printed(code, paper="a4"):
    values = paper_values(sheet_of(code), code=qr_svg("https://studio.example/" + code))
    return render_pdf(SHEET, values, paper=paper)


def together(text):
    """Text without white space and places to break: words may be set on two lines."""
    return "".join(text.replace("\u200b", "").split())


@pytest.fixture
def batch():
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    return batch


@pytest.mark.parametrize("paper", PAPERS)
def test_cautions_lots_and_amounts_are_on_it(batch, paper):
    pdf = printed(batch.code, paper)
    text = together(text_of(pdf))
    sheet = sheet_of(batch.code)
    for caution in sheet.cautions:
        assert together(caution.text).replace("-", "") in text.replace("-", "")
    assert sheet.cautions == cautions_for(masterbatch=False)
    for line in sheet.lines:
        assert together(line.row.material.name) in text
        assert line.lots and line.short == 0
        for lot in line.lots:
            assert lot.lot in text
        planned = line.row.planned
        counted = line.row.material.counted
        assert (f"{planned}pieces" if counted else f"{Decimal(planned) / G:f}g") in text
    # Cautions come before the first weight.
    assert text.index("Lyeburns") < text.index("Fats")
    assert sizes_of(pdf) == {(595, 842) if paper == "a4" else (612, 792)}


def test_steps_temperatures_and_places_to_sign_are_on_it(batch):
    text = together(text_of(printed(batch.code)))
    for words in (*sheet_of(batch.code).steps, "Oils", "40°C", "Stirred until trace", "Notes"):
        assert together(words) in text
    for role in ("Weighed by", "Checked by", "Poured by", "Date"):
        assert together(role) in text


def test_what_was_weighed_recorded_and_off_is_on_it(batch):
    naoh = BatchLine.objects.get(batch=batch, part="naoh")
    weigh_line(batch.code, Reading(position=naoh.position, amount=naoh.planned + 90 * G))
    record_bench(
        batch.code, BenchRecord(oil_temperature_c=Decimal("41.5"), trace_minutes=7, note="slow")
    )
    text = together(text_of(printed(batch.code)))
    for words in ("Differences", "+90g", "outside", "41.5°C", "7min", "slow", "Lye-heavy"):
        assert words in text
    pour_batch(batch.code, Poured(on=TODAY))
    assert f"{batch.code}-poured" in together(text_of(printed(batch.code)))


@pytest.mark.parametrize("paper", PAPERS)
def test_forty_lines_with_the_longest_names_stay_on_the_page(batch, paper):
    Batch.objects.filter(pk=batch.pk).update(note="W" * 300 + " and some words. " * 40)
    for number in range(36):
        material = make_material(
            f"long-{number:02}-" + "x" * 32, name=f"{number} {LONG_NAME}"[:120]
        )
        make_lot(material, 400 * G, code=f"L{number:02}-" + "W" * 36)
        make_lot(material, 10**7 * G + G // 1000)
        BatchLine.objects.create(
            batch=batch,
            position=100 + number,
            material=material,
            stage=["fats", "lye", "trace", "portion", "top"][number % 5],
            portion="P" * 40 if number % 5 == 3 else "",
            planned=10**6 * G + 123_456_789,
        )
    pdf = printed(batch.code, paper)
    assert pages_of(pdf) > 3
    assert words_outside(pdf) == []
    assert words_overlapping(pdf) == []
    text = together(text_of(pdf))
    assert text.count("1000000.123456789g") >= 36
    assert all(f"L{number:02}-W" in text for number in range(36))


def test_a_blend_without_lye_has_no_cautions_and_no_checks():
    from recipes.domain.formulas.formula import Basis, Stage
    from recipes.domain.formulas.scaled import BatterTarget
    from recipes.models.formulas.formulas import FormulaKind
    from recipes.queries.formulas.formulas import load_formula
    from recipes.queries.scaling.plans import Wish, make_plan
    from recipes.services.formulas.formulas import LineSpec, VersionSpec, add_formula, add_version
    from recipes.services.scaling.planning import plan_batch

    oil = make_material("oil")
    make_lot(oil, KG)
    formula = add_formula(code="infusion", name="Infusion", kind=FormulaKind.BLEND)
    lines = [LineSpec(material=oil, basis=Basis.OF_BATTER, amount=Decimal(1), stage=Stage.FATS)]
    add_version(formula, VersionSpec(lines=lines))
    plan = make_plan(load_formula(code="infusion"), Wish(target=BatterTarget(KG)))
    blend = plan_batch(plan, planned_on=TODAY)
    values = sheet_values(sheet_of(blend.code))
    assert values["cautions"] == [] and values["checks"] == [] and values["lye_steps"] == []
    assert "Infusion" in text_of(printed(blend.code))


def test_ounces_beside_grams_are_near_them():
    # 1 oz = 28.349523125 g exactly (international avoirdupois).
    assert ounces_text(28_349_523_125) == "1.00 oz"
    assert ounces_text(453_592_370_000) == "1 lb 0.00 oz"
    assert ounces_text(KG) == "2 lb 3.27 oz"


def test_what_two_lots_give_is_shown_in_steps_of_the_scale_and_adds_up():
    bench = make_bench()
    stock(bench)
    make_lot(bench.materials["olive"], 123_456_789_012, best_before=date(2199, 1, 1))
    batch = planned(bench)
    lines = sheet_values(sheet_of(batch.code))["stages"][0]["lines"]
    [olive] = [line for line in lines if line["name"] == "Olive"]
    parts = [Decimal(lot["amount"].removesuffix(" g")) for lot in olive["lots"]]
    assert len(parts) == 2 and all(part == int(part) for part in parts)
    assert f"{sum(parts)} g" == olive["target"]


@pytest.mark.parametrize("paper", PAPERS)
def test_portions_and_layers_are_on_it_with_their_drawing(paper):
    bench = make_bench()
    bench.materials["indigo"] = make_material(
        "indigo", kind=MaterialKind.COLORANT.value, density_g_ml=Decimal("1.1")
    )
    split_version(bench)
    stock(bench)
    batch = planned(bench)
    sheet = sheet_of(batch.code)
    assert sheet.portions.total_ng == batch.batter and drawing_for(sheet).rows
    pdf = printed(batch.code, paper)
    text = together(text_of(pdf))
    for words in ("Portions", "intoblue", "60%", "40%", "Pour,inthisorder", "alongthewall"):
        assert words in text
    assert f"Batch{batch.code}inLoaf" in text  # the drawing's own title
    assert words_outside(pdf) == [] and words_overlapping(pdf) == []
