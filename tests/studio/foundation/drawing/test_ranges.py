"""Shares beside the range of a standard."""

from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from studio.foundation.drawing.ranges import RangedShare, bars_with_band
from tests.studio.foundation.drawing.drawn import SVG, check, drawings, words

shares = st.decimals(0, 1, places=5) | st.decimals(-(10**9), 10**9, places=9)
bars = st.lists(
    st.builds(
        RangedShare,
        label=words,
        share=shares,
        text=words,
        low=shares | st.none(),
        high=shares | st.none(),
        range_text=words,
    ),
    max_size=8,
)


@settings(max_examples=40)
@given(bars, words)
def test_any_shares_are_drawn(given_, title):
    chart = bars_with_band(prefix="r", title=title, bars=given_, range_name=title)
    check(chart)
    assert chart == bars_with_band(prefix="r", title=title, bars=given_, range_name=title)
    assert [row[:2] for row in chart.rows] == [(bar.label, bar.text) for bar in given_]


@pytest.mark.parametrize(
    ("share", "low", "high", "verdict"),
    [
        ("0.54", "0.55", "0.83", "below"),
        ("0.55", "0.55", "0.83", "within"),
        ("0.83", "0.55", "0.83", "within"),
        ("0.84", "0.55", "0.83", "above"),
        ("0.02", None, "0.01", "above"),
        ("0.02", "0.03", None, "below"),
        ("0.02", None, None, ""),
    ],
)
def test_where_a_share_lies_is_told_in_a_word(share, low, high, verdict):
    bar = RangedShare(
        label="Oleic",
        share=Decimal(share),
        text=share,
        low=Decimal(low) if low else None,
        high=Decimal(high) if high else None,
    )
    chart = bars_with_band(prefix="r", title="Acids", bars=[bar])
    assert bar.verdict == verdict
    assert chart.rows[0][3:] == ((verdict,) if verdict else ())


def test_the_band_stands_where_the_scale_says():
    bar = RangedShare(
        label="Oleic", share=Decimal("0.4"), text="", low=Decimal("0.2"), high=Decimal("0.8")
    )
    for svg in drawings(bars_with_band(prefix="r", title="Acids", bars=[bar])):
        band, share = svg.findall(f"{SVG}rect")[:2]
        assert float(band.get("width")) == pytest.approx(1.5 * float(share.get("width")), abs=0.3)
