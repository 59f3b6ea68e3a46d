"""The fats of a recipe by their published quantities, whole or half written."""

from decimal import Decimal

import pytest

from recipes.models.formulas.formulas import FormulaLine
from recipes.queries.formulas.formulas import fingerprint_of, load_formula
from recipes.services.formulas.fats_profile import summary_of
from tests.recipes.making import make_bench

pytestmark = pytest.mark.django_db


def test_the_values_are_weighted_by_the_shares():
    bench = make_bench()
    fats = summary_of(load_formula(code="plain").rows)
    assert (fats.total, fats.missing) == (1, 0)
    # 0.7 x 190 + 0.3 x 256 mg KOH/g
    assert fats.saponification_value == Decimal("209.8")
    assert fats.profile.iodine_value is None, "none is kept of these fats"
    assert fats.without_range == [bench.materials[code].name for code in ("olive", "coconut")]


def test_half_a_recipe_is_summed_over_what_is_there():
    make_bench()
    fats = summary_of(load_formula(code="plain").rows[:1])
    assert fats.missing == Decimal("0.3")
    assert fats.saponification_value == Decimal(190)
    assert summary_of([]).saponification_value is None


def test_a_fingerprint_changes_with_any_content_alone():
    bench = make_bench()
    before = fingerprint_of(load_formula(code="plain"))
    assert fingerprint_of(load_formula(code="plain")) == before
    seen = {before}
    for name, value in (("superfat", "0.07"), ("note", "softer"), ("minutes", 91)):
        setattr(bench.version, name, value)
        bench.version.save()
        seen.add(fingerprint_of(load_formula(code="plain")))
    FormulaLine.objects.filter(version=bench.version, position=2).update(amount="0.02")
    seen.add(fingerprint_of(load_formula(code="plain")))
    assert len(seen) == 5
