"""Masterbatch lye, infused oils and dispersions."""

from dataclasses import replace
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.domain.chemistry.blends import BlendLine, alkali_in, scale_blend
from recipes.errors import FormulaRefusal, ScalingRefusal
from tests.recipes.domain.formulas.formulas import CLAY, EGG, KG, OLIVE, G, thousandths

INFUSION = (BlendLine(OLIVE, D("0.9")), BlendLine(CLAY, D("0.1")))


@given(st.integers(KG, 50 * KG), thousandths(0, 500), st.integers(2, 9))
def test_a_blend_grows_in_a_straight_line(output, loss, factor):
    once, often = (
        scale_blend(INFUSION, size, 1, loss_share=loss) for size in (output, output * factor)
    )
    for small, large in zip(once.weights, often.weights, strict=True):
        assert abs(large.exact_ng - factor * small.exact_ng) <= factor
    assert abs(once.output_ng - output) <= 2


def test_what_the_herbs_keep_must_be_poured_on_as_well():
    blend = scale_blend(INFUSION, 900 * G, G, loss_share=D("0.1"))
    assert [weight.rounded_ng for weight in blend.weights] == [900 * G, 100 * G]
    assert (blend.input_ng, blend.output_ng) == (KG, 900 * G)


@pytest.mark.parametrize(
    ("lines", "code"),
    [
        ((BlendLine(OLIVE, D("0.9")),), "blend-not-whole"),
        ((BlendLine(OLIVE, D("1.1")), BlendLine(CLAY, D("-0.1"))), "amount-not-positive"),
        ((BlendLine(OLIVE, D("0.5")), BlendLine(EGG, D("0.5"))), "not-weighed"),
        ((), "blend-not-whole"),
    ],
)
def test_faulty_blends_are_refused(lines, code):
    with pytest.raises(FormulaRefusal) as refused:
        scale_blend(lines, KG, G)
    assert code in {fault.code for fault in refused.value.faults}


@pytest.mark.parametrize(
    ("strained", "faults"),
    [
        ((False, True), []),
        ((True, False), [("not-strained", "lines.0.strained")]),
        ((True, True), [("all-strained", "lines"), ("not-strained", "lines.0.strained")]),
    ],
)
def test_only_what_does_not_mix_is_strained_out_and_something_stays(strained, faults):
    lines = [replace(line, strained=out) for line, out in zip(INFUSION, strained, strict=True)]
    if not faults:
        assert scale_blend(lines, KG, G).input_ng == KG
        return
    with pytest.raises(FormulaRefusal) as refused:
        scale_blend(lines, KG, G)
    assert [(fault.code, fault.field) for fault in refused.value.faults] == faults


@pytest.mark.parametrize(
    ("alkalis", "kept"),
    [
        (["NaOH", ""], "NaOH"),
        (["KOH", "KOH"], "KOH"),
        (["NaOH", "KOH"], ""),
        (["NaOH and KOH"], ""),
        ([""], ""),
    ],
)
def test_a_blend_is_kept_as_the_one_alkali_that_it_holds(alkalis, kept):
    lines = [BlendLine(replace(CLAY, alkali=each), D("0.5")) for each in alkalis]
    assert alkali_in(lines) == kept


@pytest.mark.parametrize("kept", ["", "NaOH", "KOH"])
@pytest.mark.parametrize("brought", ["NaOH", "KOH", "NaOH and KOH"])
def test_only_a_stored_lye_of_that_alkali_takes_it_in(kept, brought):
    lines = (BlendLine(OLIVE, D("0.5")), BlendLine(replace(CLAY, alkali=brought), D("0.5")))
    if kept == brought:
        scale_blend(lines, KG, G, makes=kept)
        return
    with pytest.raises(FormulaRefusal) as refused:
        scale_blend(lines, KG, G, makes=kept)
    assert [(f.code, f.field) for f in refused.value.faults] == [("alkali-as-line", "lines.1")]
    assert "which the lye of a soap would not be set by" in str(refused.value)


def test_impossible_loss_or_size_is_refused():
    with pytest.raises(FormulaRefusal):
        scale_blend(INFUSION, KG, G, loss_share=D(1))
    with pytest.raises(ScalingRefusal):
        scale_blend(INFUSION, 0, G)
