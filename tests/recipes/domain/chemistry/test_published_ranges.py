"""Published ranges of fatty acids, and of blends by the shares of their fats."""

from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st

from recipes.domain.chemistry.fatty_acids import blend_ranges, published_ranges
from studio.management.demo.scenario import read

CODES = sorted(published_ranges())


def test_the_table_says_what_the_standard_says():
    # CXS 210-1999, Table 1 (read in a reproduction): lauric acid of coconut oil 45.1-53.2 %.
    coconut = published_ranges()["coconut-oil"]
    assert coconut.standard == "CXS 210"
    assert coconut.acids["C12:0"] == (Decimal("0.451"), Decimal("0.532"))
    # Regulation (EEC) 2568/91, Annex I (read): oleic acid of olive oil 55-83 %.
    assert published_ranges()["olive-oil"].acids["C18:1"] == (Decimal("0.55"), Decimal("0.83"))


def test_ranges_belong_to_fats_of_the_list_and_hold_some_whole():
    listed = {fat["code"] for fat in read("trade/fats")["fat"]}
    assert listed >= set(CODES)
    for code in CODES:
        acids = published_ranges()[code].acids
        assert all(0 <= low <= high <= 1 for low, high in acids.values())
        assert sum(high for _, high in acids.values()) >= Decimal("0.98"), code


@settings(max_examples=60)
@given(st.dictionaries(st.sampled_from(CODES), st.integers(1, 10**9), min_size=1, max_size=5))
def test_a_blend_lies_between_its_fats(fats):
    blend = blend_ranges({code: Decimal(amount) for code, amount in fats.items()})
    assert not blend.without
    zero = (Decimal(0), Decimal(0))
    close = Decimal("1e-20")
    for acid, (low, high) in blend.acids.items():
        each = [published_ranges()[code].acids.get(acid, zero) for code in fats]
        assert min(r[0] for r in each) - close <= low <= max(r[0] for r in each) + close
        assert min(r[1] for r in each) - close <= high <= max(r[1] for r in each) + close


def test_one_fat_without_a_range_leaves_the_blend_without():
    blend = blend_ranges({"olive-oil": Decimal("0.7"), "home-pressed": Decimal("0.3")})
    assert blend.without == ("home-pressed",)
    assert not blend.acids
