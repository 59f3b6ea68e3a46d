"""What a blend may strain out again, and what stays in it whatever is said."""

from decimal import Decimal as D

import pytest

from recipes.domain.formulas.formula import Basis
from recipes.errors import FormulaRefusal
from recipes.models.formulas.formulas import FormulaKind
from recipes.services.formulas.formulas import LineSpec, VersionSpec, add_formula, add_version
from tests.recipes.levels import make_levels

pytestmark = pytest.mark.django_db


def refused(parts, strained, *, kind=FormulaKind.BLEND):
    levels = make_levels()
    basis = Basis.OF_BATTER if kind == FormulaKind.BLEND else Basis.OF_FATS
    lines = [
        LineSpec(
            material=levels.materials[code],
            basis=basis,
            amount=D(share),
            strained=code in strained,
        )
        for code, share in parts.items()
    ]
    formula = add_formula(code="odd", name="Odd", kind=kind)
    with pytest.raises(FormulaRefusal) as refusal:
        add_version(formula, VersionSpec(lines=lines))
    return {(fault.code, fault.field) for fault in refusal.value.faults}


@pytest.mark.parametrize("code", ["olive", "water", "naoh"])
def test_what_mixes_or_dissolves_is_not_strained_out(code):
    found = refused({code: "0.5", "petals": "0.5"}, {code})
    assert ("not-strained", "lines.0.strained") in found


def test_something_stays_of_a_blend():
    assert refused({"petals": "0.5", "clay": "0.5"}, {"petals", "clay"}) == {
        ("all-strained", "lines")
    }


def test_nothing_is_strained_out_of_soap():
    found = refused({"petals": "0.1"}, {"petals"}, kind=FormulaKind.SOAP)
    assert ("strained-of-soap", "lines.0.strained") in found
