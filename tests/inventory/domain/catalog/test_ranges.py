"""The ranges that catch slips hold what standards publish and catch the usual slips."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.catalog.materials import RANGES, check_range
from studio.foundation.errors import Faults


def told(name, value):
    faults = Faults()
    check_range(faults, name, value)
    return bool(faults)


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        # CXS 210-1999, table 2: high-erucic rapeseed oil 168-181, coconut oil 248-265 mg KOH/g.
        ("sv_mg_koh_g", "168", "265"),
        # European Pharmacopoeia, from memory: beeswax 87-104, medium-chain triglycerides 310-360.
        ("sv_mg_koh_g", "87", "360"),
        # CXS 210-1999, table 2: coconut oil 6.3-10.6 g/100 g; linseed oil 170-211 (memory).
        ("iodine_value", "6.3", "211"),
        # CXS 210-1999: palm oil at 50 degrees 0.891; glycerol 1.261 at 20 degrees (handbooks).
        ("density_g_ml", "0.891", "1.261"),
        # Sodium hydroxide 2.13 g/mL as a solid (handbooks).
        ("density_g_ml", "0.7", "2.13"),
        # Molar masses 39.997 and 192.12: anhydrous citric acid takes 3 x 39.997 / 192.12 = 0.6246.
        ("acid_naoh_g_per_g", "0.01", "0.6246"),
    ],
)
def test_published_values_are_within(name, low, high):
    assert not told(name, Decimal(low)) and not told(name, Decimal(high))


@pytest.mark.parametrize(
    ("name", "slip"),
    [
        ("sv_mg_koh_g", "0.190"),
        ("sv_mg_koh_g", "0.135"),
        ("purity", "97"),
        ("purity", "0"),
        ("water_share", "87.5"),
        ("density_g_ml", "915"),
        ("density_g_ml", "0"),
        ("iodine_value", "-1"),
    ],
)
def test_values_in_another_unit_are_caught(name, slip):
    assert told(name, Decimal(slip))


@given(st.sampled_from(sorted(RANGES)), st.sampled_from(["NaN", "sNaN", "Infinity", "-Infinity"]))
def test_what_is_no_number_is_never_within(name, text):
    assert told(name, Decimal(text))


@given(st.sampled_from(sorted(RANGES)), st.decimals(allow_nan=False, allow_infinity=False))
def test_a_range_holds_exactly_what_lies_between_its_ends(name, value):
    limits = RANGES[name]
    inside = limits.low <= value <= limits.high and not (limits.above_low and value == limits.low)
    assert told(name, value) != inside
