"""Shares, grams and counts as people read them: written once, exact, without idle digits."""

from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from studio.foundation.local_words import exact_money, written_money, written_percent
from studio.foundation.units.registry import NG_PER_G
from studio.foundation.units.writing import grams, how_many, percent


@given(st.decimals(-5, 5, places=6), st.integers(0, 4))
def test_a_percent_is_the_share_to_its_places_and_ends_in_no_zero(share, places):
    text = percent(share, places).removesuffix(" %")
    assert abs(Decimal(text) / 100 - share) <= Decimal("0.005").scaleb(-places)
    assert "." not in text or not text.endswith(("0", "."))


def test_percents():
    assert [percent(Decimal(share)) for share in ("0.1", "1", "0.05125", "0")] == [
        "10 %",
        "100 %",
        "5.12 %",
        "0 %",
    ]


@given(st.integers(0, 10**16))
def test_grams_are_exact_unless_places_are_asked_for(ng):
    assert Decimal(grams(ng).removesuffix(" g")) * NG_PER_G == ng
    rounded = Decimal(grams(ng, 1).removesuffix(" g")) * NG_PER_G
    assert abs(rounded - ng) * 20 <= NG_PER_G and rounded % (NG_PER_G // 10) == 0


def test_counts():
    assert [how_many(n, "day") for n in (0, 1, 3, 1250)] == [
        "0 days",
        "1 day",
        "3 days",
        "1,250 days",
    ]
    assert how_many(2, "batch", "batches") == "2 batches"


def test_money_and_shares_of_the_studio():
    assert (written_money(12345), exact_money(12345)) == ("$1.23", "$1.2345")
    assert [written_percent(Decimal("0.05125"), places) for places in (3, 6)] == ["5.1%", "5.125%"]
