"""Packs in a supplier's own unit."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.catalog.packs import DensitySource, pack_amount
from studio.foundation.units.quantity import UnitRefusal
from tests.inventory.buying import GALLON_ML, POUND_NG, faults_of

densities = st.decimals("0.7", "2.2", places=4)


@given(st.integers(1, 500), st.integers(1, 50))
def test_pounds_are_exact_whatever_the_density(pounds, packs):
    pack = pack_amount(
        f"{pounds} lb", counted=False, packs=packs, stated_g_ml=Decimal("0.9"), nominal_g_ml=None
    )
    assert pack.amount == pounds * packs * POUND_NG
    assert pack.source is DensitySource.NOT_NEEDED and pack.density_g_ml is None


@given(densities, st.integers(1, 55), st.integers(1, 20))
def test_gallons_are_weighed_by_the_density_and_rounded_once(density, gallons, packs):
    pack = pack_amount(f"{gallons} gal", counted=False, packs=packs, nominal_g_ml=density)
    exact = Fraction(GALLON_ML) * gallons * packs * Fraction(density) * 10**9
    assert abs(pack.amount - exact) <= Fraction(1, 2)
    assert (pack.source, pack.density_g_ml) == (DensitySource.NOMINAL, density)


def test_the_suppliers_density_goes_before_the_materials():
    pack = pack_amount(
        "1 L", counted=False, stated_g_ml=Decimal("0.92"), nominal_g_ml=Decimal("0.91")
    )
    assert (pack.amount, pack.source) == (920 * 10**9, DensitySource.STATED)


def test_pounds_and_ounces_are_one_pack():
    assert pack_amount("1 lb 4 oz", counted=False).amount == POUND_NG * 5 // 4


@pytest.mark.parametrize(
    ("written", "counted", "packs", "code"),
    [
        ("1 gal", False, 1, "no-density"),
        ("12 each", False, 1, "wrong-dimension"),
        ("2 lb", True, 1, "wrong-dimension"),
        ("1 1/2 each", True, 1, "not-whole"),
        ("0 kg", False, 1, "nothing"),
        ("1 kg", False, 0, "packs-out-of-range"),
        ("90 kg", False, 1_000_000, "too-large"),
        ("20 cm", False, 1, "wrong-dimension"),
    ],
)
def test_what_cannot_be_a_pack_is_refused(written, counted, packs, code):
    with pytest.raises(UnitRefusal) as refused:
        pack_amount(written, counted=counted, packs=packs)
    assert [c for c, _ in faults_of(refused)] == [code]
