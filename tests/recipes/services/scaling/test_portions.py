"""Portions of plans and batches: kept with the version, weighed by plan, then as poured."""

from decimal import Decimal

import pytest

from inventory.domain.catalog.materials import MaterialKind as Kind
from recipes.domain.bench.pours import Layer, Place, Pour
from recipes.domain.formulas.formula import Basis, Portion, Stage
from recipes.domain.formulas.scaled import FatTarget
from recipes.errors import FormulaRefusal
from recipes.models.bench.batches import BatchLine
from recipes.models.formulas.formulas import FormulaVersion
from recipes.queries.bench.batches import batch_by_code
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import Wish, make_plan
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.formulas.formulas import LineSpec, VersionSpec, rewrite_version
from recipes.services.molds.drawings import drawing_of_batch
from recipes.services.scaling.portions import portions_of
from tests.inventory.making import TODAY, make_material
from tests.recipes.making import make_bench, next_version, planned, stock

pytestmark = pytest.mark.django_db
G = 10**9
HALVES = Pour(
    (Portion("plain", Decimal("0.6")), Portion("blue", Decimal("0.4"))),
    (
        Layer("plain", Decimal("0.5")),
        Layer("blue", Decimal(1), Place.LEFT, "along the wall"),
        Layer("plain", Decimal("0.5")),
    ),
)


@pytest.fixture
def bench():
    made = make_bench()
    made.materials["indigo"] = make_material(
        "indigo", kind=Kind.COLORANT.value, density_g_ml=Decimal("1.1")
    )
    split_version(made)
    stock(made)
    return made


def split_version(bench, pour=HALVES, **line):
    """A second version that is poured in two colors."""
    stored = load_formula(code="plain", number=1)
    old = [
        LineSpec(
            material=row.material,
            basis=Basis(row.basis),
            amount=row.amount,
            stage=Stage(row.stage),
        )
        for row in stored.rows
    ]
    color = LineSpec(
        **{
            "material": bench.materials["indigo"],
            "basis": Basis.OF_PORTION,
            "amount": Decimal("0.01"),
            "stage": Stage.PORTION,
            "portion": "blue",
            **line,
        }
    )
    version = stored.version
    spec = VersionSpec(
        lines=[*old, color],
        naoh=version.naoh,
        water=version.water,
        superfat=version.superfat,
        lye_concentration=version.lye_concentration,
        pour=pour,
    )
    return next_version(bench.formula, spec)


def test_a_version_keeps_its_portions_and_layers(bench):
    loaded = load_formula(code="plain")
    assert loaded.soap.portions == HALVES.portions
    assert loaded.layers == HALVES.layers
    assert load_formula(code="plain", number=1).layers == ()


def test_a_rewritten_version_has_the_new_portions_only(bench):
    version = FormulaVersion.objects.get(number=2)
    spec = VersionSpec(
        lines=[
            LineSpec(
                material=bench.materials["olive"], basis=Basis.SHARE_OF_FATS, amount=Decimal(1)
            )
        ],
        naoh=version.naoh,
        water=version.water,
        superfat=version.superfat,
        lye_concentration=version.lye_concentration,
        pour=Pour((Portion("all", Decimal(1)),)),
    )
    rewrite_version(version, spec)
    assert load_formula(code="plain").soap.portions == (Portion("all", Decimal(1)),)
    assert load_formula(code="plain").layers == ()


def test_the_portions_of_a_plan_and_of_its_batch_sum_to_the_batter(bench):
    plan = make_plan(load_formula(code="plain"), Wish(mold=bench.mold))
    of_plan = portions_of(plan)
    assert of_plan.total_ng == plan.output_ng
    assert sum(layer.mass_ng for layer in of_plan.layers) == plan.output_ng
    plain, blue = of_plan.portions
    # 1 % of 40 % of the batter, to the gram of the scale; the base is split 60 to 40
    assert abs(blue.colorants_ng - plan.output_ng * Decimal("0.004")) <= G
    assert abs(plain.plain_ng * 2 - blue.plain_ng * 3) <= 5
    assert portions_of(batch_by_code(planned(bench).code)) == of_plan


def test_a_poured_batch_has_the_portions_that_were_weighed(bench):
    batch = planned(bench)
    reserve_batch(batch.code)
    rows = {row.material.code: row for row in BatchLine.objects.filter(batch=batch)}
    olive, indigo = rows["olive"], rows["indigo"]
    actual = {olive.position: olive.planned + 3 * G, indigo.position: indigo.planned - G}
    pour_batch(batch.code, Poured(on=TODAY, actual=actual))
    made = portions_of(batch_by_code(batch.code))
    assert made.total_ng == batch.batter + 2 * G
    assert made.portions[1].colorants_ng == indigo.planned - G


def test_a_batter_that_is_not_split_has_no_portions(bench):
    plan = make_plan(load_formula(code="plain", number=1), Wish(mold=bench.mold))
    assert portions_of(plan).portions == () == portions_of(plan).layers


def test_portions_cost_a_fixed_number_of_queries(bench, django_assert_num_queries):
    batch = batch_by_code(planned(bench).code)
    with django_assert_num_queries(2):
        portions_of(batch)


@pytest.mark.parametrize(
    ("fats", "words"),
    [(None, "filled to 60 mm"), (300 * G, "filled to 2"), (3000 * G, "filled to 60 mm")],
)
def test_a_batch_is_drawn_as_high_as_it_stands_in_the_mold(bench, fats, words):
    target = None if fats is None else FatTarget(fats)
    drawn = drawing_of_batch(planned(bench, mold=bench.mold, target=target).code)
    assert words in drawn.words
    assert ("Does not fit" in drawn.svg) == (fats == 3000 * G)


@pytest.mark.parametrize(
    ("pour", "line", "expected"),
    [
        (HALVES, {"portion": "red"}, {("lines.4.portion", "unknown-portion")}),
        (Pour(), {}, {("lines.4.portion", "unknown-portion")}),
        (Pour(HALVES.portions[:1], HALVES.layers[:1]), {"portion": "plain"},
         {("portions", "portions-not-whole"), ("layers", "portion-not-poured-wholly")}),
        (Pour(HALVES.portions, HALVES.layers[:2]), {},
         {("layers", "portion-not-poured-wholly")}),
    ],
)  # fmt: skip
def test_a_split_that_cannot_be_poured_is_refused(bench, pour, line, expected):
    with pytest.raises(FormulaRefusal) as refused:
        split_version(bench, pour, **line)
    assert {(fault.field, fault.code) for fault in refused.value.faults} == expected
    assert FormulaVersion.objects.count() == 2
