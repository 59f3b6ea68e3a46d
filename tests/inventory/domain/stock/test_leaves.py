"""What a bought thing holds: its certificate first, then its material, else the safe side."""

from decimal import Decimal as D

import pytest

from inventory.domain.catalog.certificate import NOT_CERTIFIED, Certificate
from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.domain.stock.leaves import NONE, Span, demand_span, leaf_of
from inventory.models.catalog.materials import Material


def leaf(kind, own=NOT_CERTIFIED, **values):
    return leaf_of(Material(code="x", name=values.pop("name", "X"), kind=kind.value, **values), own)


@pytest.mark.parametrize(
    ("kind", "nominal", "certified", "purity"),
    [
        # An alkali that nobody stated is taken as pure: that errs to less of it.
        (Kind.ALKALI, None, None, ("1", "1", "1")),
        # What is sold dry may be purer than its material says; a stored lye is what it is.
        (Kind.ALKALI, "0.97", None, ("0.97", "0.97", "1")),
        (Kind.INTERMEDIATE, "0.5", None, ("0.5", "0.5", "0.5")),
        (Kind.ALKALI, "0.97", "0.985", ("0.985", "0.985", "0.985")),
        (Kind.ALKALI, None, "0.985", ("0.985", "0.985", "0.985")),
    ],
)
def test_how_pure_an_alkali_is(kind, nominal, certified, purity):
    own = Certificate(purity=certified and D(certified))
    found = leaf(kind, own, alkali="NaOH", purity=nominal and D(nominal))
    assert found.purity == Span(*map(D, purity))


def test_an_alkali_is_known_by_its_name_too_and_nothing_else_has_a_purity():
    assert leaf(Kind.ADDITIVE, name="Caustic soda").alkali == "NaOH"
    assert leaf(Kind.ADDITIVE, inci_name="Potassium Hydroxide").alkali == "KOH"
    clay = leaf(Kind.COLORANT, purity=D("0.9"))
    assert (clay.alkali, clay.purity, bool(clay.purity)) == ("", NONE, False)


@pytest.mark.parametrize(
    ("kind", "nominal", "certified", "water"),
    [
        # A stored lye of 48 % is 52 % water; what a dry alkali is short of 100 % is no water.
        (Kind.INTERMEDIATE, None, None, "0.52"),
        (Kind.ALKALI, None, None, "0"),
        (Kind.INTERMEDIATE, "0.5", None, "0.5"),
        (Kind.INTERMEDIATE, "0.5", "0.45", "0.45"),
        (Kind.INTERMEDIATE, "0.5", "0", "0"),
    ],
)
def test_how_much_of_a_stored_lye_is_water(kind, nominal, certified, water):
    own = Certificate(water_share=certified and D(certified))
    found = leaf(kind, own, alkali="NaOH", purity=D("0.48"), water_share=nominal and D(nominal))
    assert found.water_share == D(water)


def test_the_demand_is_the_certified_one_or_the_range_of_the_material():
    values = {"sv_mg_koh_g": D(190), "sv_low_mg_koh_g": D(184), "sv_high_mg_koh_g": D(196)}
    assert leaf(Kind.FAT, **values).demand == Span(D(184), D(190), D(196))
    own = Certificate(sv_mg_koh_g=D(187))
    assert leaf(Kind.FAT, own, **values).demand == Span.exactly(D(187))


@pytest.mark.parametrize(
    ("usual", "low", "high", "kind", "span"),
    [
        (None, None, None, Kind.FAT, None),  # nobody knows, which is not nothing
        (None, "184", "196", Kind.FAT, None),
        (None, None, None, Kind.COLORANT, NONE),
        ("190", None, None, Kind.FAT, Span.exactly(D(190))),
        # A value outside of its own range makes that wider, so that the worst is no better.
        ("180", "184", "196", Kind.FAT, Span(D(180), D(180), D(196))),
        ("200", "184", "196", Kind.FAT, Span(D(184), D(200), D(200))),
    ],
)
def test_a_range_is_never_better_than_what_is_known(usual, low, high, kind, span):
    given = [value and D(value) for value in (usual, low, high)]
    assert demand_span(*given, kind=kind) == span


def test_a_maximum_is_that_of_the_lot_where_it_has_one():
    nominal = {"ifra_category9_max": D("0.05")}
    assert leaf(Kind.FRAGRANCE, **nominal).scent.maximum == D("0.05")
    own = Certificate(ifra_category9_max=D("0.02"))
    assert leaf(Kind.FRAGRANCE, own, **nominal).scent.maximum == D("0.02")
    # A fragrance without one has to be asked about, another material without one has not.
    assert leaf(Kind.FRAGRANCE).scent.maximum is None
    assert leaf(Kind.FAT).scent is None and leaf(Kind.FAT, own).scent.maximum == D("0.02")
