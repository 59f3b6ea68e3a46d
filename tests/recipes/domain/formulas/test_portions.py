"""Portions conserve the batter to the last nanogram; their colorants follow from what they are."""

from decimal import Decimal as D
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.domain.chemistry.formula_check import check_formula
from recipes.domain.formulas.formula import (
    WHOLE,
    Basis,
    Formula,
    Line,
    Portion,
    Stage,
    check_portions,
    split_batter,
    weight_of,
)
from recipes.domain.formulas.scaled import BatterTarget, FatTarget
from recipes.domain.scaling.scaling import scale
from recipes.errors import FormulaRefusal
from studio.foundation.errors import Faults, InvalidInput
from tests.recipes.domain.formulas.formulas import CLAY, COCONUT, OLIVE, USUAL_ALKALI, G

KG = 1000 * G


@st.composite
def splits(draw):
    """Portions whose shares of six places sum to 1."""
    cuts = sorted(draw(st.sets(st.integers(1, WHOLE - 1), min_size=0, max_size=6)))
    edges = [0, *cuts, WHOLE]
    return [Portion(f"portion {i}", D(b - a) / WHOLE) for i, (a, b) in enumerate(pairwise(edges))]


@given(splits(), st.integers(1, 10**15), st.data())
def test_portions_sum_to_the_batter_to_the_last_nanogram(portions, batter, data):
    colorants = {
        portion.name: data.draw(st.integers(0, batter // (10 * len(portions))))
        for portion in portions
    }
    weights = split_batter(portions, batter_ng=batter, colorants_ng=colorants)
    assert sum(weight.total_ng for weight in weights) == batter
    plain = batter - sum(colorants.values())
    for portion, weight in zip(portions, weights, strict=True):
        assert weight.colorants_ng == colorants[portion.name]
        assert abs(weight.plain_ng - plain * portion.share) < 1


@given(splits())
def test_a_whole_split_has_no_faults_and_one_without_a_part_is_refused(portions):
    faults = Faults()
    check_portions(portions, [("lines.0", portions[0].name)], faults)
    assert not faults
    check_portions(portions[1:], [], faults)
    assert bool(faults) == (len(portions) > 1)


@given(st.decimals(D("0.000001"), D(1), places=6))
def test_a_share_is_a_whole_number_of_millionths(share):
    assert weight_of(share) == share * WHOLE


def test_every_fault_of_portions_is_told_at_once():
    faults = Faults()
    portions = [
        Portion("", D("0.5")),
        Portion("blue", D("0")),
        Portion("blue", D("0.2")),
        Portion("red", D("0.1234567")),
        Portion("n" * 41, D("NaN")),
    ]
    check_portions(portions[:4], [("lines.3", "green"), ("lines.4", "")], faults)
    check_portions(portions[4:4], [("lines.5", "green")], faults)
    assert {(fault.code, fault.field) for fault in faults.found} == {
        ("unknown-portion", "lines.3.portion"),
        ("unknown-portion", "lines.5.portion"),
        ("portion-name", "portions.0.name"),
        ("portion-share", "portions.1.share"),
        ("portion-twice", "portions.2.name"),
        ("too-precise", "portions.3.share"),
        ("portions-not-whole", "portions"),
    }


def test_colorants_heavier_than_the_batter_are_refused():
    with pytest.raises(InvalidInput):
        split_batter([Portion("all", D(1))], batter_ng=10, colorants_ng={"all": 11})


def split_formula(*more, portions=(("base", "0.75"), ("clay", "0.25"))):
    return Formula(
        lines=(
            Line(OLIVE, Basis.SHARE_OF_FATS, Stage.FATS, D("0.7")),
            Line(COCONUT, Basis.SHARE_OF_FATS, Stage.FATS, D("0.3")),
            *more,
        ),
        alkali=USUAL_ALKALI,
        portions=tuple(Portion(name, D(share)) for name, share in portions),
    )


def colored(basis, amount, **more):
    more = {"portion": "clay", "portion_share": D("0.25"), **more}
    return Line(CLAY, basis, Stage.PORTION, D(amount), **more)


def test_a_share_of_a_portion_is_of_that_portions_share_of_the_batter():
    # 2 % of a portion that is 25 % of 1 kg of batter: 5 g
    batch = scale(split_formula(colored(Basis.OF_PORTION, "0.02")), BatterTarget(KG), resolution=1)
    assert abs(batch.batter_ng - KG) < 10
    assert abs(batch.lines[2].rounded_ng - 5 * G) < 10


def test_teaspoons_per_pound_become_mass_by_the_density():
    # 1 tsp = 4.92892159375 mL, clay 2.5 g/mL: 12.3223 g a pound; a quarter of 4 lb: 12.3223 g
    pounds = 4 * 453_592_370_000
    batch = scale(
        split_formula(colored(Basis.TSP_PER_LB_FATS, "1")), FatTarget(pounds), resolution=1
    )
    assert abs(batch.lines[2].rounded_ng - 12_322_303_984) < 10


@pytest.mark.parametrize(
    ("formula", "expected"),
    [
        (split_formula(colored(Basis.OF_PORTION, "0.02", portion="red")), "unknown-portion"),
        (split_formula(colored(Basis.OF_PORTION, "0.02", portion=None)), "unknown-portion"),
        (split_formula(portions=[("base", "0.7"), ("clay", "0.2")]), "portions-not-whole"),
        (
            split_formula(Line(CLAY, Basis.OF_PORTION, Stage.TRACE, D("0.02"))),
            "not-in-a-portion",
        ),
        (split_formula(colored(Basis.OF_PORTION, "4")), "batter-overfull"),
    ],
)
def test_what_cannot_be_split_is_refused(formula, expected):
    with pytest.raises(FormulaRefusal) as refused:
        check_formula(formula)
    assert expected in {fault.code for fault in refused.value.faults}


def test_a_spoon_of_unknown_density_is_refused():
    no_density = CLAY.__class__("ocher", "ocher", CLAY.kind)
    line = Line(no_density, Basis.TSP_PER_LB_FATS, Stage.TRACE, D(1))
    with pytest.raises(FormulaRefusal) as refused:
        check_formula(split_formula(line))
    assert [f.code for f in refused.value.faults] == ["density-missing"]
