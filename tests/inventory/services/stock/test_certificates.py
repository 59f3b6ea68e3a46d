"""What a lot's own certificate states goes before the material's values and moves no stock."""

from decimal import Decimal

import pytest

from inventory.domain.catalog.allergens import Allergen
from inventory.domain.catalog.unusual import PURITY, SAPONIFICATION, UNUSUAL
from inventory.errors import MaterialRefusal
from inventory.services.stock.certificates import certify_lot, weigh_from
from studio.foundation.errors import NotFound
from studio.foundation.units.grammar import parse_quantity
from studio.foundation.units.quantity import UnitRefusal
from tests.inventory.making import KG, TODAY, make_lot, make_material

pytestmark = pytest.mark.django_db


@pytest.fixture
def lot():
    return make_lot(make_material(density_g_ml=Decimal("0.9")), 5 * KG, cost=100)


def test_what_is_not_named_stays(lot):
    certify_lot(lot.pk, {"sv_mg_koh_g": Decimal(190), "density_g_ml": Decimal("0.92")})
    changed = certify_lot(lot.pk, {"sv_mg_koh_g": None, "supplier_lot": "S-1"})
    assert (changed.sv_mg_koh_g, changed.density_g_ml) == (None, Decimal("0.92"))
    assert (changed.on_hand, changed.cost) == (5 * KG, 100)


def test_volumes_are_weighed_by_the_lots_density_then_the_materials(lot):
    liter = parse_quantity("1 L")
    assert weigh_from(lot, liter) == 900 * 10**9
    assert weigh_from(certify_lot(lot.pk, {"density_g_ml": Decimal("0.92")}), liter) == 920 * 10**9


@pytest.mark.parametrize("text", ["1 each", "101000 kg"])
def test_what_no_lot_holds_is_refused(lot, text):
    with pytest.raises(UnitRefusal):
        weigh_from(lot, parse_quantity(text))


@pytest.mark.parametrize(
    "stated",
    [
        {},
        {"on_hand": Decimal(1)},
        {"purity": Decimal(97)},
        {"density_temperature_c": Decimal(20)},
        {"best_before": TODAY.replace(year=2020)},
        {"supplier_lot": "x" * 61},
    ],
)
def test_what_cannot_be_so_changes_nothing(lot, stated):
    with pytest.raises(MaterialRefusal):
        certify_lot(lot.pk, {**stated, "iodine_value": Decimal(80)} if stated else {})
    lot.refresh_from_db()
    assert lot.iodine_value is None and lot.on_hand == 5 * KG


def test_a_lot_that_is_not_there(lot):
    with pytest.raises(NotFound):
        certify_lot(lot.pk + 1, {"purity": Decimal(1)})


def test_allergens_are_kept_as_certified_and_none_is_not_nothing(lot):
    assert lot.allergens is None
    kept = certify_lot(lot.pk, {"allergens": [Allergen("Linalool", Decimal("0.0315"))]})
    assert kept.allergens == [{"name": "Linalool", "share": "0.0315"}]
    assert certify_lot(lot.pk, {"allergens": []}).allergens == []
    assert certify_lot(lot.pk, {"allergens": None}).allergens is None


def test_every_impossible_allergen_is_named_and_nothing_changes(lot):
    stated = [
        Allergen(" ", Decimal("0.1")),
        Allergen("Linalool", Decimal("0.7")),
        Allergen("linalool", Decimal("0.6")),
        Allergen("Citral", Decimal("-0.1")),
        Allergen("Geraniol", Decimal("NaN")),
    ]
    with pytest.raises(MaterialRefusal) as refused:
        certify_lot(lot.pk, {"allergens": stated})
    assert {(fault.code, fault.field) for fault in refused.value.faults} == {
        ("name", "allergens.0.name"),
        ("named-twice", "allergens.2.name"),
        ("share", "allergens.3.share"),
        ("share", "allergens.4.share"),
        ("over-whole", "allergens"),
    }
    lot.refresh_from_db()
    assert lot.allergens is None


@pytest.mark.parametrize(("kind", "may_be"), [("alkali", False), ("intermediate", True)])
def test_bought_alkali_is_mostly_alkali_and_a_stored_lye_may_be_weak(kind, may_be):
    lot = make_lot(make_material(kind=kind, alkali="NaOH", purity=Decimal("0.97")), KG)
    weak = {"purity": Decimal("0.3")}
    if may_be:
        assert certify_lot(lot.pk, weak).purity == Decimal("0.3")
        return
    with pytest.raises(MaterialRefusal) as refused:
        certify_lot(lot.pk, weak)
    assert [(f.field, f.code) for f in refused.value.faults] == [("purity", "out-of-range")]


@pytest.mark.parametrize(
    ("material", "stated", "code", "words"),
    [
        ({"kind": "acid"}, "purity", "purity-not-here", "acid_naoh_g_per_g"),
        ({"kind": "additive"}, "purity", "purity-not-here", "which alkali it is"),
        ({"kind": "fat"}, "purity", "purity-not-here", "saponification value"),
        ({"kind": "intermediate"}, "purity", "purity-not-here", "which alkali it is"),
        ({"kind": "bar"}, "purity", "purity-not-here", "Free alkali"),
        ({"kind": "batter", "name": "KOH"}, "purity", "purity-not-here", "Free alkali"),
        ({"kind": "packaging"}, "water_share", "water-not-here", "leave it out"),
        ({"kind": "batter"}, "water_share", "water-not-here", "leave it out"),
    ],
)
def test_what_nothing_would_come_of_is_refused_with_what_to_enter_instead(
    material, stated, code, words
):
    lot = make_lot(make_material(**material), KG)
    with pytest.raises(MaterialRefusal) as refused:
        certify_lot(lot.pk, {stated: Decimal("0.8")})
    (fault,) = refused.value.faults
    assert (fault.field, fault.code) == (stated, code) and words in fault.message


def test_an_alkali_by_its_name_has_a_purity_and_older_rows_are_in_nobodys_way():
    named = make_lot(make_material(kind="liquid", name="Wood ash lye"), KG)
    assert certify_lot(named.pk, {"purity": Decimal("0.1")}).purity == Decimal("0.1")
    older = make_lot(make_material(kind="acid"), KG, purity=Decimal("0.8"))
    assert certify_lot(older.pk, {"water_share": Decimal("0.2")}).purity == Decimal("0.8")
    assert certify_lot(older.pk, {"purity": None}).purity is None


@pytest.mark.parametrize("value", [190, 220])
def test_a_value_that_stands_is_confirmed_alone_where_it_is_unusual(value):
    oil = make_material(sv_low_mg_koh_g=184, sv_high_mg_koh_g=196)
    lot = make_lot(oil, KG, sv_mg_koh_g=Decimal(value))
    for confirmed in ((), (PURITY,)) + (((SAPONIFICATION,),) if value == 190 else ()):
        with pytest.raises(MaterialRefusal) as refused:
            certify_lot(lot.pk, {}, confirmed=confirmed)
        assert [fault.code for fault in refused.value.faults] == ["nothing-stated"]
        assert not lot.confirmations.exists()
    if value == 220:
        certify_lot(lot.pk, {}, confirmed=UNUSUAL)
        assert lot.confirmations.get().value == value
