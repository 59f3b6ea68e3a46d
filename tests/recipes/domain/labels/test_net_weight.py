"""The label weight: worked examples with their publications, and what may never happen.

The numbers of the table are from memory of NIST Handbook 133 (said so in the table itself); only
the two rows that were seen quoted are checked against print.
"""

from decimal import Decimal
from fractions import Fraction
from math import sqrt

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from recipes.domain.labels.net_weight import (
    USUAL_CONFIDENCE,
    Requirement,
    Sample,
    correction_factor,
    floor_factor,
    inspected_of,
    label_weight,
    largest_division,
    mav_ng,
    sample_of,
    usable_division,
)
from recipes.errors import OutsideTable
from studio.foundation.errors import InvalidInput

G = 10**9
OUNCE = 28_349_523_125


def label_of(sample, *, confidence=USUAL_CONFIDENCE, inspected=12, step=G):
    return label_weight(sample, confidence=confidence, inspected=inspected, step_ng=step)


def test_scale_division_for_113_grams():
    # NIST Handbook 133 (2011), section 2.2 a: label 113 g, MAV 7.2 g (0.016 lb); the division is
    # at most a sixth: 1.2 g, and 0.00267 lb, for which 0.002 lb is printed.
    assert largest_division(Fraction("7.2")) == Fraction("1.2")
    assert usable_division(largest_division(Fraction("0.016"))) == Fraction("0.002")
    assert largest_division(mav_ng(113 * G)) == Fraction(12 * G, 10)


def test_twelve_packages_of_454_grams():
    # Documentation of statistical process control, net content limits, example of the MAV.
    grams = (452, 453, 453, 454, 454, 454, 455, 455, 455, 456, 456, 457)
    sample = sample_of([g * G for g in grams])
    assert (sample.mean, sample.lightest) == (Fraction("454.5") * G, 452 * G)


@pytest.mark.parametrize(("count", "factor"), [(30, 0.503), (50, 0.379), (20, 0.640)])
def test_correction_factors_of_the_directive(count, factor):
    # UK SI 2006/659, schedule 2, paragraph 4 (Directive 76/211/EEC, annex II), at 99.5 %.
    found = correction_factor(count, confidence=Decimal("0.995"))
    assert found == pytest.approx(factor, abs=6e-4)


@pytest.mark.parametrize(("count", "factor"), [(12, 0.635), (24, 0.422), (48, 0.291)])
def test_correction_factors_of_the_handbook(count, factor):
    # NIST Handbook 133, table 2-1, from memory.
    assert correction_factor(count, confidence=USUAL_CONFIDENCE) == pytest.approx(factor, abs=1e-3)


#: Student's t as printed in any table: (degrees of freedom, share below) -> t. From memory.
STUDENT = {
    (1, "0.975"): 12.706,
    (3, "0.975"): 3.182,
    (9, "0.95"): 1.833,
    (11, "0.975"): 2.201,
    (21, "0.975"): 2.080,
    (29, "0.995"): 2.756,
}


def test_the_factors_are_students_t_as_printed():
    for (freedom, share), printed in STUDENT.items():
        count, confidence = freedom + 1, Decimal(share)
        mean_of_count = correction_factor(count, confidence=confidence)
        next_one = floor_factor(count, confidence=confidence, inspected=1)
        assert mean_of_count * sqrt(count) == pytest.approx(printed, abs=6e-4)
        # The mean of the sample and the next bar are both uncertain: their variances add.
        assert next_one**2 - mean_of_count**2 == pytest.approx(printed**2, rel=6e-4)


@pytest.mark.parametrize(
    ("count", "mean", "deviation", "confidence", "low"),
    [
        # Applied Statistics and Probability for Engineers, 3rd ed., section 8-6, example 8-8: load
        # at failure of a twenty-third specimen, 6.16 to 21.26 at 95 % on both sides.
        (22, 13.71, 3.55, "0.975", 6.16),
        # Probability and Statistics for Engineers and Scientists, 9th ed., section 9.6, example
        # 9.8, from memory: leanness of a new pack of beef, 93.96 to 98.44 at 99 % on both sides.
        (30, 96.2, 0.8, "0.995", 93.96),
    ],
)
def test_the_floor_is_the_lower_end_of_printed_prediction_intervals(
    count, mean, deviation, confidence, low
):
    factor = floor_factor(count, confidence=Decimal(confidence), inspected=1)
    assert mean - factor * deviation == pytest.approx(low, abs=0.005)


@pytest.mark.parametrize(("confidence", "inspected"), [("0.975", 5), ("0.95", 10), ("0.94", 12)])
def test_the_risk_is_split_over_the_bars_that_are_inspected(confidence, inspected):
    # Bonferroni: each of them is off with 0.5 % at most. t(29; 99.5 %) = 2.756, sqrt(31 / 30).
    factor = floor_factor(30, confidence=Decimal(confidence), inspected=inspected)
    assert factor == pytest.approx(2.756 * sqrt(31 / 30), abs=6e-4)


def test_the_floor_of_four_bars_by_hand():
    # 100 to 103 g: mean 101.5 g, deviation sqrt(5 / 3) = 1.2910 g, t(3; 97.5 %) = 3.182.
    found = label_of(sample_of([g * G for g in (100, 101, 102, 103)]), inspected=1)
    assert found.individual_floor / G == pytest.approx(
        101.5 - 3.182 * 1.2910 * sqrt(1.25), abs=2e-3
    )
    assert found.average_bound / G == pytest.approx(101.5 - 3.182 * 1.2910 / 2, abs=2e-3)


def test_the_lightest_bar_is_the_floor_where_it_lies_below_what_is_expected():
    # 99 bars of 100 g and one of 90 g: deviation 1 g, of which 2.2 are off at 97.5 % at most.
    found = label_of(sample_of([100 * G] * 99 + [90 * G]), inspected=1)
    assert found.individual_floor == 90 * G


def test_variations_that_were_seen_in_print():
    # NIST Handbook 133 table 2-5 as quoted: 3 oz -> 0.25 oz (a manual of statistical process
    # control), 113 g -> 7.2 g (chapter 2 of the handbook).
    assert mav_ng(3 * OUNCE) / OUNCE == pytest.approx(0.25, abs=0.06)
    assert mav_ng(113 * G) == 72 * G // 10


@given(st.integers(1, 1120 * G), st.integers(1, 1120 * G))
def test_the_variation_never_falls_with_the_label(one, other):
    low, high = sorted((one, other))
    assert 0 <= mav_ng(low) <= mav_ng(high) < max(high, 2)


@pytest.mark.parametrize("label", [0, -5, 1120 * G + 1])
def test_nothing_is_read_beyond_the_table(label):
    with pytest.raises(OutsideTable):
        mav_ng(label)


@st.composite
def bars(draw):
    """Weights of a sample that scatter by up to 5 g around something."""
    middle = draw(st.integers(60 * G, 140 * G))
    offs = draw(st.lists(st.integers(-5 * G, 5 * G), min_size=2, max_size=30))
    return [middle + off for off in offs]


def allowed(sample, **asked):
    try:
        return label_of(sample, **asked)
    except InvalidInput:
        return None


@given(bars(), st.sampled_from([G, G // 10, OUNCE // 10]), st.integers(1, 48))
def test_a_label_satisfies_both_requirements_and_the_next_step_does_not(weights, step, inspected):
    sample = sample_of(weights)
    found = allowed(sample, step=step, inspected=inspected)
    assume(found is not None)
    assert found.label % step == 0 and 0 < found.label <= sample.mean
    assert found.mav == mav_ng(found.label)
    correction = correction_factor(len(weights), confidence=USUAL_CONFIDENCE)
    factor = floor_factor(len(weights), confidence=USUAL_CONFIDENCE, inspected=inspected)
    most = float(sample.mean) - correction * sample.deviation
    lowest = min(sample.lightest, float(sample.mean) - factor * sample.deviation)

    def holds(label, slack):
        """Both requirements by their plain formulas, give or take some ng of rounding."""
        return label <= most + slack and label - mav_ng(label) <= lowest + slack

    assert holds(found.label, 4)
    assert not any(
        holds(label, -4) for label in range(found.label + step, int(sample.mean) + step, step)
    )


@given(
    st.integers(30 * G, 300 * G),
    st.integers(2, 40),
    st.floats(0, 0.1),
    st.floats(0, 0.1),
    st.integers(1, 48),
)
def test_a_wider_spread_never_allows_a_higher_label(mean, count, one, other, inspected):
    labels = []
    for spread in sorted((one, other)):
        deviation = mean * spread
        lightest = round(mean - deviation * (count - 1) / sqrt(count))
        sample = Sample(
            count=count, mean=Fraction(mean), deviation=deviation, lightest=max(lightest, 1)
        )
        found = allowed(sample, inspected=inspected)
        labels.append(found.label if found else 0)
    assert labels[0] >= labels[1]


@given(bars(), st.sampled_from(["0.9", "0.95", "0.975", "0.99", "0.995"]))
@settings(max_examples=50)
def test_more_confidence_never_allows_a_higher_label(weights, confidence):
    sample = sample_of(weights)
    bold = allowed(sample, confidence=Decimal("0.9"))
    careful = allowed(sample, confidence=Decimal(confidence))
    assert (bold.label if bold else 0) >= (careful.label if careful else 0)


def test_equal_bars_carry_their_weight_and_the_average_binds():
    found = label_of(sample_of([100 * G] * 12))
    assert (found.label, found.binds) == (100 * G, Requirement.AVERAGE)


def test_one_light_bar_makes_the_single_bars_bind():
    # 11 bars of 100 g and one of 80 g: the lightest may be short by 7.2 g (81 to 117 g), so the
    # label cannot be above 87.2 g even before the rest of the lot is thought of.
    found = label_of(sample_of([100 * G] * 11 + [80 * G]))
    assert found.binds is Requirement.INDIVIDUAL
    assert found.label < found.by_average and found.label - found.mav <= 80 * G


def test_a_label_above_a_step_of_the_table_may_be_allowed_where_one_below_is_not():
    # A floor of 49 g: up to 52.6 g by 3.6 g, none up to 54 g, and again up to 54.4 g by 5.4 g.
    sample = Sample(count=50, mean=Fraction(58 * G), deviation=0.0, lightest=49 * G)
    found = label_of(sample, step=G // 10)
    assert found.label == 544 * G // 10
    assert label_of(sample, step=G).label == 52 * G  # no whole gram lies in the upper part


@pytest.mark.parametrize(
    ("lot", "count"), [(1, 1), (8, 8), (12, 12), (250, 12), (251, 24), (9999, 48)]
)
def test_how_many_an_inspector_weighs(lot, count):
    # NIST Handbook 133, table 2-1, from memory.
    assert inspected_of(lot) == count


@pytest.mark.parametrize(
    ("weights", "code"), [([], "too-few-bars"), ([G], "too-few-bars"), ([G, 0], "not-positive")]
)
def test_samples_that_say_nothing_are_refused(weights, code):
    with pytest.raises(InvalidInput) as refused:
        sample_of(weights)
    assert [fault.code for fault in refused.value.faults] == [code]


def test_bars_that_weigh_too_little_or_too_much_have_no_label():
    with pytest.raises(InvalidInput):
        label_of(sample_of([G // 2, G // 3]))
    with pytest.raises(OutsideTable):
        label_of(sample_of([1200 * G] * 4))
    with pytest.raises(InvalidInput) as refused:
        label_of(sample_of([G, G]), confidence=Decimal(1), inspected=0, step=0)
    assert {fault.field for fault in refused.value.faults} == {"confidence", "inspected", "step"}
