"""Curves that are known are found again; certified fits of NIST are reached to their digits."""

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from recipes.domain.cure.exponential import fit_approach

# NIST StRD, nonlinear regression, "Misra1a" and "BoxBOD", y = b1 (1 - exp(-b2 x)): observations
# and certified values from memory. That the residuals below are reached to ten digits is the check
# that the memory is right.
MISRA1A = (
    (77.6, 10.07),
    (114.9, 14.73),
    (141.1, 17.94),
    (190.8, 23.93),
    (239.9, 29.61),
    (289.0, 35.18),
    (332.8, 40.02),
    (378.4, 44.82),
    (434.8, 50.76),
    (477.3, 55.05),
    (536.8, 61.01),
    (593.1, 66.40),
    (689.1, 75.47),
    (760.0, 81.78),
)
BOX_BOD = ((1, 109), (2, 149), (3, 149), (5, 191), (7, 213), (10, 224))


@pytest.mark.parametrize(
    ("points", "certified", "errors", "residuals"),
    [
        (
            MISRA1A,
            (2.3894212918e02, 5.5015643181e-04),
            (2.7070075241e00, 7.2668688436e-06),
            1.2455138894e-01,
        ),
        (
            BOX_BOD,
            (2.1380940889e02, 5.4723748542e-01),
            (1.2354515176e01, 1.0455993237e-01),
            1.1680088766e03,
        ),
    ],
)
def test_certified_fits_are_reached(points, certified, errors, residuals):
    found = fit_approach([x for x, _ in points], [y for _, y in points], start=0.0)
    assert (found.end, found.rate) == pytest.approx(certified, rel=1e-7)
    assert found.residuals == pytest.approx(residuals, rel=1e-9)
    told = [math.sqrt(found.covariance[i, i]) for i in (0, 2)]
    assert told == pytest.approx(errors, rel=1e-5)
    assert found.covariance[1, 1] == 0  # the start was known


curves = st.tuples(
    st.floats(20, 5000),  # end
    st.floats(0.02, 0.4),  # what is lost, as a share of the end
    st.floats(0.03, 0.4),  # rate
)


@given(curves, st.lists(st.integers(0, 60), min_size=4, max_size=9, unique=True))
@settings(max_examples=60)
def test_an_exact_curve_is_found_again(curve, days):
    end, lost, rate = curve
    days = sorted({0, 7, 21, *days})
    weights = [end * (1 + lost * math.exp(-rate * day)) for day in days]
    found = fit_approach(days, weights)
    assert found is not None
    assert (found.end, found.start, found.rate) == pytest.approx(
        (end, end * (1 + lost), rate), rel=1e-4
    )
    for day in (0, 5, 30, 90):
        assert found.at(day) == pytest.approx(end * (1 + lost * math.exp(-rate * day)), rel=1e-6)


@given(curves, st.floats(1e-6, 1e6), st.floats(1e-3, 1e3))
@settings(max_examples=30)
def test_units_do_not_matter(curve, size, span):
    end, lost, rate = curve
    days = [0, 3, 8, 15, 29]
    weights = [
        end * (1 + lost * math.exp(-rate * day)) + off
        for day, off in zip(days, (0.0, 0.01, -0.02, 0.01, 0.005), strict=True)
    ]
    plain = fit_approach(days, weights)
    scaled = fit_approach([day * span for day in days], [weight * size for weight in weights])
    assert (plain is None) == (scaled is None)
    if plain is not None:
        assert scaled.end == pytest.approx(plain.end * size, rel=1e-4)
        assert scaled.rate == pytest.approx(plain.rate / span, rel=1e-3)


@given(
    st.lists(st.integers(-50, 3650), max_size=9),
    st.lists(st.floats(allow_nan=True, allow_infinity=True, width=32), max_size=9),
)
def test_whatever_is_given_it_never_raises(days, weights):
    points = list(zip(days, weights, strict=False))
    found = fit_approach([x for x, _ in points], [y for _, y in points])
    assert found is None or math.isfinite(found.at(points[0][0]))


@pytest.mark.parametrize(
    ("days", "weights"),
    [
        ([], []),
        ([0, 7], [100, 99]),
        ([3, 3, 3, 3], [100, 99, 98, 97]),
        ([0, 7, 14], [100, 100, 100]),
        ([0, 7, 14], [100, 95, 90]),
        ([0, 7, 14], [100, 96, 85]),
        ([0, 7, 14], [100, math.nan, 85]),
    ],
)
def test_no_curve_is_said_where_there_is_none(days, weights):
    assert fit_approach(days, weights) is None


def test_three_points_give_a_curve_without_a_band_and_more_give_one():
    days, weights = [0, 7, 14, 28], [100.0, 95.0, 93.1, 91.4]
    bare = fit_approach(days[:3], weights[:3])
    assert bare.covariance is None and bare.half_width(7, confidence=0.95) is None
    found = fit_approach(days, weights)
    assert found.freedom == 1
    near, far = (found.half_width(x, confidence=0.95) for x in (14, 200))
    assert 0 < near < far
    assert found.half_width(14, confidence=0.99) > near
