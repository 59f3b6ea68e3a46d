"""Keeping materials and suppliers."""

from decimal import Decimal

import pytest
from django.contrib.auth import get_user_model

from inventory.domain.catalog.descriptions import gaps
from inventory.domain.catalog.materials import MaterialKind
from inventory.errors import MaterialRefusal
from inventory.models.catalog.materials import Material
from inventory.services.catalog.materials import add_material, save_material
from inventory.services.catalog.suppliers import save_supplier
from studio.foundation.errors import NotFound
from studio.foundation.model_fields import described as names_described
from studio.models import ChangedMeanwhile
from studio.work.keeping import changed as changed_row
from tests.inventory.buying import a_supplier, an_offer, an_oil, boxes, described, faults_of
from tests.inventory.making import KG, make_lot

FULL = {
    "inci_name": "Cocos Nucifera Oil",
    # Codex Alimentarius CXS 210-1999: saponification value 248-265, iodine value 6.3-10.6.
    "sv_low_mg_koh_g": Decimal(248),
    "sv_mg_koh_g": Decimal(257),
    "sv_high_mg_koh_g": Decimal(265),
    "iodine_value": Decimal("8.5"),
    "density_temperature_c": Decimal(40),
    "fatty_acids": {"lauric": Decimal("0.48"), "C14:0": Decimal("0.19")},
    "shelf_life_days": 730,
    "reorder_point": 5 * KG,
    "reorder_to": 20 * KG,
    "note": "Invented for a test.",
}


def test_a_material_is_kept_as_described_and_describes_itself_again(database):
    kept = Material.objects.get(pk=add_material(**described("coconut", **FULL)).pk)
    shown = {name: getattr(kept, name) for name in names_described(Material)}
    acids = {"C12:0": Decimal("0.480000"), "C14:0": Decimal("0.190000")}
    blank = {name: getattr(Material(), name) for name in names_described(Material)}
    given = {**described("coconut", **FULL), "fatty_acids": acids}
    assert {**shown, "fatty_acids": kept.acids} == {**blank, **given, "low_stock_alerts": True}


def test_a_change_replaces_what_is_named_raises_the_revision_and_names_who_made_it(database):
    owner = get_user_model().objects.create(username="owner")
    kept = add_material(**described("coconut", **FULL))
    given = changed_row(kept, {"note": "", "name": "Left alone"})
    acids = {"oleic": Decimal("0.07")}
    save_material(given, ("note",), fatty_acids=acids, by=owner)
    again = Material.objects.get()
    assert (again.pk, again.revision, again.note, again.name) == (kept.pk, 2, "", "Coconut")
    assert [row.acid for row in again.fatty_acids.all()] == ["C18:1"]
    assert [h.history_user for h in again.history.order_by("history_id")] == [None, owner]


def test_a_change_leaves_what_others_changed_meanwhile(database):
    read = add_material(**described("coconut", **FULL))
    save_material(changed_row(read, {"note": "Mine."}), ("note",), expected={read.revision})
    with pytest.raises(ChangedMeanwhile):
        save_material(changed_row(read, {"name": "Late"}), ("name",), expected={read.revision})
    save_material(changed_row(read, {"name": "Any"}), ("name",))
    again = Material.objects.get()
    assert (again.note, again.name, again.revision) == ("Mine.", "Any", 3)


def test_every_fault_is_told_at_once_and_nothing_is_kept(database):
    with pytest.raises(MaterialRefusal) as refused:
        add_material(
            **described(
                "not a code",
                name="",
                inci_name="x" * 201,
                density_g_ml=Decimal("NaN"),
                sv_low_mg_koh_g=Decimal(200),
                sv_mg_koh_g=Decimal(190),
                purity=Decimal(97),
                water_share=Decimal("0.7"),
                fat_share=Decimal("0.4"),
                fatty_acids={"C18:1": Decimal("0.9"), "linoleic": Decimal("0.2"), "fat": 0},
                alkali="NaOH",
                piece_mass=KG,
                shelf_life_days=0,
                reorder_to=KG,
            )
        )
    assert faults_of(refused) == {
        ("invalid", "code"),
        ("blank", "name"),
        ("max-length", "inci_name"),
        ("out-of-range", "density_g_ml"),
        ("sv-order", "sv_mg_koh_g"),
        ("out-of-range", "purity"),
        ("composition-impossible", "water_share"),
        ("too-many-fatty-acids", "fatty_acids"),
        ("invalid-input", "fatty_acids"),
        ("alkali-not-here", "alkali"),
        ("not-counted", "piece_mass"),
        ("out-of-range", "shelf_life_days"),
        ("reorder-point-missing", "reorder_point"),
    }
    assert not Material.objects.exists()


def test_a_value_in_g_naoh_per_g_is_not_taken_for_a_saponification_value(db):
    with pytest.raises(MaterialRefusal) as refused:
        add_material(**described(sv_mg_koh_g=Decimal("0.135")))
    assert faults_of(refused) == {("out-of-range", "sv_mg_koh_g")}


def test_an_alkali_says_which_and_how_pure(db):
    with pytest.raises(MaterialRefusal) as refused:
        add_material(**described(kind=MaterialKind.ALKALI))
    assert faults_of(refused) == {("alkali-missing", "alkali")}
    with pytest.raises(MaterialRefusal) as refused:
        add_material(**described(kind=MaterialKind.ALKALI, alkali="NaOH"))
    assert faults_of(refused) == {("purity-missing", "purity")}


def test_a_fat_without_a_saponification_value_is_kept_and_named(db):
    fat = an_oil("butter", sv_mg_koh_g=None)
    assert [(gap.code, gap.field) for gap in gaps(fat)] == [
        ("saponification-value-missing", "sv_mg_koh_g")
    ]
    assert gaps(an_oil()) == ()


def test_what_is_made_here_raises_no_alert_unless_asked(db):
    assert not an_oil(kind=MaterialKind.BAR, counted=True).low_stock_alerts
    assert an_oil(kind=MaterialKind.INTERMEDIATE, low_stock_alerts=True).low_stock_alerts
    assert an_oil().low_stock_alerts


def test_the_unit_is_fixed_once_something_is_kept_in_it(database):
    oil, offered, bare = an_oil(), boxes(), an_oil()
    make_lot(oil, KG)
    an_offer(a_supplier(), offered, "12 each")
    for material in (oil, offered):
        with pytest.raises(MaterialRefusal) as refused:
            given = changed_row(material, {"counted": not material.counted})
            save_material(given, ("counted",))
        assert faults_of(refused) == {("unit-fixed", "counted")}
    assert save_material(changed_row(bare, {"counted": True}), ("counted",)).counted


def test_a_code_is_given_once(database):
    an_oil("olive")
    with pytest.raises(MaterialRefusal) as refused:
        an_oil("olive")
    assert faults_of(refused) == {("unique", "code")}


def test_a_material_that_is_not_there_cannot_be_changed(db):
    with pytest.raises(NotFound):
        save_material(Material(pk=1, code="gone"), ("code",))


def test_a_supplier_is_kept_changed_and_refused_with_all_faults(database):
    kept = a_supplier("north", lead_time_days=5)
    given = changed_row(kept, {"name": "North", "minimum_order": 500_000})
    changed = save_supplier(given, ("name", "minimum_order"))
    assert (changed.pk, changed.revision, changed.minimum_order) == (kept.pk, 2, 500_000)
    with pytest.raises(MaterialRefusal) as refused:
        a_supplier("a b", name="", email="nobody", lead_time_days=-1, minimum_order=-1)
    assert faults_of(refused) == {
        ("invalid", "code"),
        ("blank", "name"),
        ("invalid", "email"),
        ("out-of-range", "lead_time_days"),
        ("out-of-range", "minimum_order"),
    }
