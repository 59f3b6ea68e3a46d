"""Formulas and versions through the services: names that fit, versions that can be made."""

from dataclasses import replace
from decimal import Decimal

import pytest

from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.models.catalog.materials import Material
from recipes.domain.cure.drying import LONGEST_DAYS
from recipes.domain.formulas.formula import Basis, Stage
from recipes.errors import FormulaRefusal
from recipes.models.formulas.formulas import Formula, FormulaKind, FormulaLine, FormulaVersion
from recipes.queries.formulas.formulas import load_formula
from recipes.services.formulas.formulas import (
    LineSpec,
    VersionSpec,
    add_formula,
    add_version,
    make_current,
    rewrite_version,
)
from recipes.services.formulas.version_check import MOST_LINES, MOST_MINUTES, MOST_WEEKLY_LOSS
from studio.foundation.errors import NotFound, Refusal
from tests.inventory.making import make_material
from tests.recipes.making import make_bench, planned

pytestmark = pytest.mark.django_db


def faults_of(call, *args, **kwargs):
    with pytest.raises(FormulaRefusal) as refused:
        call(*args, **kwargs)
    return {(fault.field, fault.code) for fault in refused.value.faults}


def share(material, amount, **values):
    return LineSpec(material=material, basis=Basis.SHARE_OF_FATS, amount=Decimal(amount), **values)


def test_soap_makes_bars_out_of_batter():
    formula = add_formula(code="x" * 33, name="n" * 112)
    assert formula.product.counted and formula.product.kind == Kind.BAR.value
    assert formula.batter.code == "x" * 33 + "-batter"
    for material in (formula.product, formula.batter):
        material.full_clean()


def test_names_that_would_not_fit_make_nothing():
    faults = faults_of(add_formula, code="x" * 34, name="n" * 113)
    assert faults == {("code", "too-long"), ("name", "too-long")}
    assert not Material.objects.exists()


def test_soap_does_not_make_oil_and_a_blend_makes_no_bars():
    oil = make_material("oil")
    assert faults_of(add_formula, code="a", name="A", product=oil)
    assert faults_of(add_formula, code="b", name="B", product=oil, kind=FormulaKind.BLEND)
    assert Material.objects.count() == 1 and not Formula.objects.exists()


def test_what_is_made_must_not_be_something_else_already():
    make_material("calm-bar")
    with pytest.raises(Refusal):
        add_formula(code="calm", name="Calm")
    assert not Formula.objects.exists()


def test_a_version_tells_every_fault_under_the_name_it_was_written_by():
    bench = make_bench()
    soap = bench.materials
    bare = make_material("bare")
    spec = VersionSpec(
        lines=[
            share(soap["olive"], "0.5"),
            share(bare, "0.4"),
            share(soap["naoh"], "0.2"),
            LineSpec(material=soap["box"], basis=Basis.FIXED, amount=Decimal(1), stage=Stage.TRACE),
        ],
        naoh=soap["water"],
        superfat=Decimal("0.5"),
        koh_share=Decimal("0.5"),
        resolution=0,
        pour_temperature_c=Decimal(200),
    )
    assert faults_of(add_version, bench.formula, spec) == {
        ("lines", "fats-not-whole"),
        ("lines.1.material", "saponification-value-missing"),
        ("lines.2", "alkali-as-line"),
        ("lines.2.basis", "not-a-fat"),
        ("lines.3.material", "piece-mass-missing"),
        ("lines.3.stage", "packaging-in-batter"),
        ("naoh", "not-that-alkali"),
        ("koh", "alkali-missing"),
        ("water", "water-missing"),
        ("lye_concentration", "concentration-missing"),
        ("superfat", "outside-range"),
        ("resolution", "resolution-outside"),
        ("pour_temperature", "temperature-outside"),
    }
    assert FormulaVersion.objects.count() == 1


def test_a_masterbatch_too_weak_for_the_concentration_is_refused_with_what_it_reaches():
    bench = make_bench()
    weak = make_material("weak", kind=Kind.INTERMEDIATE.value, alkali="NaOH", purity=Decimal("0.3"))
    spec = VersionSpec(
        lines=[share(bench.materials["olive"], "1")],
        masterbatch=weak,
        water=bench.materials["water"],
        superfat=Decimal(0),
        lye_concentration=Decimal("0.33"),
    )
    with pytest.raises(FormulaRefusal, match="30 %") as refused:
        add_version(bench.formula, spec)
    assert [fault.field for fault in refused.value.faults] == ["masterbatch"]


@pytest.mark.parametrize(
    "values",
    [
        {"kind": Kind.ADDITIVE.value, "inci_name": "Aqua, Sodium Hydroxide"},
        {"kind": Kind.ADDITIVE.value, "name": "NaOH pellets"},
        {"kind": Kind.INTERMEDIATE.value, "alkali": "NaOH", "purity": Decimal("0.5")},
        {"kind": Kind.ALKALI.value, "inci_name": "Potassium Carbonate"},
    ],
)
def test_alkali_in_a_line_is_refused_of_a_version_and_of_a_plan(values):
    """A material may be found to hold alkali after the recipe was written: the plan sees it."""
    bench = make_bench()
    extra = make_material("extra", **values)
    line = LineSpec(material=extra, basis=Basis.OF_FATS, amount=Decimal("0.02"), stage=Stage.TRACE)
    lye = {
        "naoh": bench.materials["naoh"],
        "lye_concentration": Decimal("0.33"),
        "superfat": Decimal("0.05"),
    }
    spec = VersionSpec(lines=[share(bench.materials["olive"], "1"), line], water=extra, **lye)
    faults = {("lines.1", "alkali-as-line"), ("water", "alkali-as-water")}
    assert faults_of(add_version, bench.formula, spec) == faults
    blend = add_formula(code="strange", name="Strange water", kind=FormulaKind.BLEND)
    whole = LineSpec(material=extra, basis=Basis.OF_BATTER, amount=Decimal(1))
    if extra.kind == Kind.ALKALI.value:  # one that no lye here is made of
        refused = faults_of(add_version, blend, VersionSpec(lines=[whole]))
        assert refused == {("lines.0", "alkali-as-line")}
    else:
        add_version(blend, VersionSpec(lines=[whole]))
        made = Material.objects.get(code="strange")
        assert (made.alkali, made.history.count()) == ("NaOH", 2)
        spec = VersionSpec(
            lines=[share(bench.materials["olive"], "1"), replace(line, material=made)],
            water=bench.materials["water"],
            **lye,
        )
        assert faults_of(add_version, bench.formula, spec) == {("lines.1", "alkali-as-line")}
    Material.objects.filter(code="scent").update(**values)
    assert ("lines.2", "alkali-as-line") in faults_of(planned, bench)


def test_a_blend_is_shares_of_the_whole():
    bench = make_bench()
    blend = add_formula(code="rose-oil", name="Rose oil", kind=FormulaKind.BLEND)
    olive, box = bench.materials["olive"], bench.materials["box"]
    spec = VersionSpec(
        lines=[
            share(olive, "0.5"),
            LineSpec(material=box, basis=Basis.OF_BATTER, amount=Decimal("0.4")),
        ],
        pot_loss_share=Decimal("0.95"),
    )
    assert faults_of(add_version, blend, spec) == {
        ("lines.0.basis", "blend-basis"),
        ("lines.1", "not-weighed"),
        ("lines", "blend-not-whole"),
        ("pot_loss_share", "outside-range"),
    }


@pytest.mark.parametrize("kind", list(FormulaKind))
@pytest.mark.parametrize("superfat", [None, Decimal(0), Decimal("0.05")])
def test_soap_has_a_superfat_that_is_meant_and_a_blend_has_none(kind, superfat):
    materials = make_bench().materials
    formula = add_formula(code="other", name="Other", kind=kind)
    soap = kind == FormulaKind.SOAP
    basis = Basis.SHARE_OF_FATS if soap else Basis.OF_BATTER
    lines = [LineSpec(material=materials["olive"], basis=basis, amount=Decimal(1))]
    lye = {"naoh": materials["naoh"], "water": materials["water"]}
    concentration = Decimal("0.33") if soap else None
    spec = VersionSpec(lines=lines, superfat=superfat, lye_concentration=concentration, **lye)
    if soap == (superfat is not None):
        assert add_version(formula, spec).superfat == superfat
        return
    code = "superfat-missing" if soap else "superfat-of-a-blend"
    assert faults_of(add_version, formula, spec) == {("superfat", code)}


def test_times_losses_and_lines_are_bounded_by_the_service():
    bench = make_bench()
    olive = bench.materials["olive"]
    spec = VersionSpec(
        lines=[share(olive, "1"), *(share(olive, "0.0001") for _ in range(MOST_LINES))],
        naoh=bench.materials["naoh"],
        water=bench.materials["water"],
        superfat=Decimal(0),
        lye_concentration=Decimal("0.33"),
        cure_days=LONGEST_DAYS + 1,
        minutes=MOST_MINUTES + 1,
        weekly_loss_limit=MOST_WEEKLY_LOSS + Decimal("0.01"),
    )
    assert faults_of(add_version, bench.formula, spec) == {
        ("lines", "too-many-lines"),
        ("lines", "fats-not-whole"),
        ("cure_days", "outside-range"),
        ("minutes", "outside-range"),
        ("weekly_loss_limit", "outside-range"),
    }


def test_versions_count_up_and_each_keeps_its_lines():
    bench = make_bench()
    olive = bench.materials["olive"]
    same = {"naoh": bench.materials["naoh"], "water": bench.materials["water"],
            "superfat": Decimal(0), "lye_concentration": Decimal("0.3")}  # fmt: skip
    second = add_version(bench.formula, VersionSpec(lines=[share(olive, "1")], **same))
    assert second.number == 2
    make_current(second)
    assert len(load_formula(code="plain").rows) == 1
    assert len(load_formula(code="plain", number=1).rows) == 4
    rewrite_version(second, VersionSpec(lines=[share(olive, "1")], minutes=5, **same))
    assert load_formula(code="plain").version.minutes == 5
    assert FormulaLine.objects.count() == 5
    with pytest.raises(NotFound, match="version 3 of plain"):
        load_formula(code="plain", number=3)


def test_a_refused_rewrite_leaves_the_version_as_it_was():
    bench = make_bench()
    before = list(FormulaLine.objects.values())
    assert faults_of(rewrite_version, bench.version, VersionSpec(lines=[]))
    assert list(FormulaLine.objects.values()) == before
    planned(bench)
    assert faults_of(rewrite_version, bench.version, VersionSpec(lines=[])) == {
        ("version", "formula-invalid")
    }


@pytest.mark.parametrize("kind", [Kind.FAT, Kind.FRAGRANCE, Kind.PACKAGING, Kind.ACID])
def test_lye_is_dissolved_in_a_liquid_or_in_what_is_made_here(kind):
    bench = make_bench()
    spec = VersionSpec(
        lines=[share(bench.materials["olive"], "1")],
        water=make_material("no-water", kind=kind.value),
        naoh=bench.materials["naoh"],
        lye_concentration=Decimal("0.33"),
        superfat=Decimal("0.05"),
    )
    assert faults_of(add_version, bench.formula, spec) == {("water", "not-a-water")}
    tea = make_material("tea", kind=Kind.INTERMEDIATE.value)
    assert add_version(bench.formula, replace(spec, water=tea)).water == tea
