"""Iodine value and fatty acids of a blend."""

from dataclasses import replace
from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from recipes.domain.chemistry.fatty_acids import batch_profile, is_saturated, profile_of
from recipes.domain.formulas.scaled import FatTarget
from recipes.domain.scaling.scaling import scale
from tests.recipes.domain.formulas.formulas import COCONUT, KG, OLIVE, formula, share

# Middles of ranges: coconut CXS 210-1999 Table 1 (C12:0 45.1-53.2, C14:0 16.8-21.0); iodine values
# CXS 210 (6.3-10.6) and CXS 33 (75-94, from memory); olive C18:1 55-83 CXS 33 (from memory).
SOFT = replace(OLIVE, iodine_value=D("84.5"), fatty_acids={"C18:1": D("0.69")})
HARD = replace(
    COCONUT, iodine_value=D("8.45"), fatty_acids={"C14:0": D("0.189"), "C12:0": D("0.4915")}
)


@given(st.integers(1, KG), st.integers(1, KG))
def test_a_blend_lies_between_its_fats(soft, hard):
    profile = profile_of([(SOFT, soft), (HARD, hard)])
    assert D("8.45") <= profile.iodine_value <= D("84.5")
    assert sum(profile.fatty_acids.values()) <= 1
    assert profile.saturated_share == profile.fatty_acids["C12:0"] + profile.fatty_acids["C14:0"]


def test_shares_are_weighted_by_mass_and_ordered_by_chain():
    batch = scale(formula(fats=(share(SOFT, "0.75"), share(HARD, "0.25"))), FatTarget(KG))
    profile = batch_profile(batch)
    assert profile.iodine_value == D("65.4875")
    assert list(profile.fatty_acids) == ["C12:0", "C14:0", "C18:1"]
    assert profile.fatty_acids["C12:0"] == D("0.122875")
    assert profile.known_share == 1


def test_what_is_not_known_is_not_made_up():
    profile = profile_of([(SOFT, 1), (OLIVE, 3)])
    assert profile.iodine_value is None
    assert profile.known_share == D("0.25")
    assert profile.fatty_acids == {"C18:1": D("0.69")}
    assert profile_of([]).known_share == 0


@pytest.mark.parametrize(
    ("acid", "saturated"), [("C12:0", True), ("C18:1", False), ("C18:1 12-OH", False)]
)
def test_no_double_bond_is_saturated(acid, saturated):
    assert is_saturated(acid) is saturated
