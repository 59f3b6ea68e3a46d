"""Scaling on the scales of a studio: what is rounded how, what stays, and what is told."""

from decimal import Decimal as D

from hypothesis import given
from hypothesis import strategies as st

from recipes.domain.formulas.formula import Basis, Line, Stage
from recipes.domain.formulas.scaled import FatTarget
from recipes.domain.scales import Scale, Scales
from recipes.domain.scaling.scaling import scale
from recipes.domain.scaling.weighed import alkali_between_steps
from studio.foundation.units.writing import grams
from tests.recipes.domain.formulas.formulas import KG, SCENT, G, formula, growing_formulas
from tests.recipes.domain.scaling.test_scaling import codes, scaled_on, targets

MG = 10**6
scales_kept = st.lists(
    st.builds(
        lambda name, step, steps: Scale(name=name, step_ng=step, capacity_ng=step * steps),
        st.sampled_from("abcd"),
        st.sampled_from([10 * MG, 100 * MG, G, 5 * G, 20 * G]),
        st.integers(100, 30_000),
    ),
    min_size=1,
    max_size=3,
).map(lambda kept: Scales(kept=tuple(kept)))


BENCH = Scale(name="Bench scale", step_ng=100 * MG, capacity_ng=3 * KG)
FLOOR = Scale(name="Floor scale", step_ng=5 * G, capacity_ng=60 * KG)


def test_each_line_is_rounded_to_the_finest_scale_that_holds_it():
    scent = Line(SCENT, Basis.OF_FATS, Stage.TRACE, D("0.03333"))
    batch = scale(formula(scent), FatTarget(20 * KG), resolution=Scales(kept=(BENCH, FLOOR)))
    assert batch.lines[-1].rounded_ng == 666_600 * MG
    heavy = [line.rounded_ng for line in batch.lines if line.rounded_ng > 3 * KG]
    assert heavy and all(mass % (5 * G) == 0 for mass in heavy)
    # 2.5 kg of alkali is held by the bench scale, of which a step is nothing.
    assert batch.naoh_ng % (5 * G) and "coarse-scale" not in codes(batch)


def test_without_a_kept_scale_all_is_weighed_to_the_step_that_is_given():
    scent = Line(SCENT, Basis.OF_FATS, Stage.TRACE, D("0.0333"))
    batch = scale(formula(scent), FatTarget(KG), resolution=5 * G)
    assert batch.lines[-1].rounded_ng == 35 * G and batch.naoh_ng % (5 * G) == 0
    assert "coarse-scale" in codes(batch)


def test_what_no_scale_holds_is_weighed_in_several_goes():
    batch = scale(formula(), FatTarget(200 * KG), resolution=Scales(kept=(BENCH, FLOOR)))
    told = [notice for notice in batch.notices if notice.code == "several-goes"]
    assert told and all("goes on Floor scale" in notice.message for notice in told)


def test_what_is_less_than_the_finest_scale_shows_stays_and_is_told():
    pinch = Line(SCENT, Basis.OF_FATS, Stage.TRACE, D("0.00003"))
    batch = scale(formula(pinch), FatTarget(KG), resolution=Scales(kept=(BENCH, FLOOR)))
    assert batch.lines[-1].rounded_ng == 30 * MG
    (told,) = [notice for notice in batch.notices if notice.code == "finer-than-scale"]
    assert told.field == f"lines.{batch.lines[-1].position}"
    assert "0.03 g" in told.message and "Bench scale shows steps of 0.1 g" in told.message


@given(growing_formulas, targets, scales_kept)
def test_nothing_is_rounded_away_and_the_superfat_is_never_lower_than_asked(recipe, target, kept):
    batch = scaled_on(recipe, target, kept)
    asked, paths = recipe.alkali.superfat, {(each.code, each.field) for each in batch.notices}
    # The lye is set on the rounded fats, so their rounding moves nothing; rounding the alkali down
    # only adds. The last place is that of the figure itself, which is rounded down.
    assert batch.superfat >= asked - D("0.000001")
    for line in batch.lines:
        if line.pieces is None and line.exact_ng:
            assert line.rounded_ng > 0
            how, told = kept.on(line.rounded_ng), ("finer-than-scale", f"lines.{line.position}")
            if how.shows(line.rounded_ng):
                assert line.rounded_ng % how.step_ng == 0 and told not in paths
            else:
                assert line.rounded_ng == line.exact_ng and told in paths


@given(
    st.integers(1, 10**14), st.sampled_from([MG, 100 * MG, G, 5 * G]), st.sampled_from(["", "a"])
)
def test_alkali_between_two_steps_is_told_by_the_step_below(mass, step, name):
    kept = (Scale(name=name, step_ng=step, capacity_ng=60 * KG),) if name else ()
    scales = Scales(step_ng=step, kept=kept)
    told = list(alkali_between_steps([("NaOH", "lines.3", mass)], scales))
    assert bool(told) == bool(mass % step)
    for notice in told:
        assert (notice.code, notice.field) == ("alkali-between-steps", "lines.3")
        if mass < step:
            assert "cannot be weighed on a" in notice.message
        else:
            assert f"no more than {grams(mass // step * step)} of NaOH on a" in notice.message


def test_a_planned_weight_that_a_coarser_scale_cannot_show_is_told():
    """144.3 g were planned on 0.1 g; what is left shows 5 g, and 145 g would be too much."""
    masses = [("NaOH", "lines.0", 144_300 * MG), ("KOH", "lines.1", 145 * G)]
    assert list(alkali_between_steps(masses, Scales(kept=(BENCH,)))) == []
    (told,) = alkali_between_steps(masses, Scales(kept=(FLOOR,)))
    assert told.message == (
        "Weigh no more than 140 g of NaOH on Floor scale (its step is 5 g), or give the batch back "
        "and plan it anew."
    )
