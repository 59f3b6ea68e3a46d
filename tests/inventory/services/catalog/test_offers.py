"""Offers in a supplier's own units."""

from datetime import timedelta
from decimal import Decimal

import pytest

from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.catalog.packs import DensitySource
from inventory.errors import MaterialRefusal
from inventory.models.catalog.suppliers import Offer
from inventory.queries.catalog.offers import best_offers
from inventory.services.catalog.materials import save_material
from inventory.services.catalog.suppliers import OfferDescription, pack_of, save_offer
from studio.work.keeping import changed
from tests.inventory.buying import (
    GALLON_ML,
    POUND_NG,
    a_supplier,
    an_offer,
    an_oil,
    boxes,
    faults_of,
)
from tests.inventory.making import TODAY


def test_a_gallon_is_weighed_by_the_suppliers_density_else_by_the_materials(database):
    supplier, oil = a_supplier(), an_oil()
    own = an_offer(supplier, oil, "1 gal", density_g_ml=Decimal("0.92"))
    nominal = an_offer(supplier, oil, "1 gal")
    assert own.pack_amount == round(GALLON_ML * Decimal("0.92") * 10**9)
    assert nominal.pack_amount == round(GALLON_ML * Decimal("0.915") * 10**9)
    assert pack_of(own).source is DensitySource.STATED
    assert pack_of(nominal).source is DensitySource.NOMINAL


def test_packs_in_pounds_and_pieces_need_no_density(database):
    supplier = a_supplier()
    assert an_offer(supplier, an_oil(), "35 lb").pack_amount == 35 * POUND_NG
    assert an_offer(supplier, boxes(), "12 each").pack_amount == 12


def test_a_changed_density_weighs_again_only_what_rests_on_it(database):
    supplier, oil = a_supplier(), an_oil()
    own = an_offer(supplier, oil, "1 L", density_g_ml=Decimal("0.92"))
    nominal, pounds = an_offer(supplier, oil, "1 L"), an_offer(supplier, oil, "35 lb")
    save_material(changed(oil, {"density_g_ml": Decimal("0.9")}), ("density_g_ml",))
    amounts = [Offer.objects.get(pk=offer.pk).pack_amount for offer in (own, nominal, pounds)]
    assert amounts == [920 * 10**9, 900 * 10**9, 35 * POUND_NG]
    assert Offer.objects.get(pk=nominal.pk).revision == 2
    with pytest.raises(MaterialRefusal) as refused:
        save_material(changed(oil, {"density_g_ml": None}), ("density_g_ml",))
    assert faults_of(refused) == {("density-in-use", "density_g_ml")}
    oil.refresh_from_db()
    assert oil.density_g_ml == Decimal("0.9")


def test_every_fault_is_told_at_once(database):
    supplier, soap = a_supplier(), an_oil(kind=MaterialKind.BAR, counted=True)
    with pytest.raises(MaterialRefusal) as refused:
        save_offer(
            OfferDescription(
                code="",
                supplier="nobody",
                material=soap.code,
                pack_written="2 lb",
                price=-1,
                minimum_packs=0,
                lead_time_days=9_999,
                valid_from=TODAY,
                valid_until=TODAY - timedelta(days=1),
            )
        )
    assert faults_of(refused) == {
        ("blank", "code"),
        ("not-found", "supplier"),
        ("made-here", "material"),
        ("wrong-dimension", "pack_written"),
        ("out-of-range", "price"),
        ("out-of-range", "minimum_packs"),
        ("out-of-range", "lead_time_days"),
        ("dates-reversed", "valid_until"),
    }
    with pytest.raises(MaterialRefusal) as refused:
        an_offer(supplier, an_oil(density_g_ml=None), "1 gal")
    assert faults_of(refused) == {("no-density", "pack_written")}
    assert not Offer.objects.exists()


def test_an_offer_is_changed_in_place(database):
    supplier, oil = a_supplier(), an_oil()
    offer = an_offer(supplier, oil, "35 lb", 900_000, code="olive-35")
    changed = save_offer(
        OfferDescription(
            code="olive-35",
            supplier=supplier.code,
            material=oil.code,
            pack_written="5 gal",
            price=950_000,
        ),
        offer_id=offer.pk,
    )
    assert (changed.pk, changed.revision) == (offer.pk, 2)
    assert changed.pack_amount == round(5 * GALLON_ML * Decimal("0.915") * 10**9)


def test_the_best_offer_is_the_cheapest_per_weight_that_holds_on_the_day(database):
    near, far, oil = a_supplier(lead_time_days=2), a_supplier(lead_time_days=9), an_oil()
    an_offer(far, oil, "1 kg", 90_000)
    an_offer(far, oil, "2 kg", 170_000)
    best = an_offer(near, oil, "2 kg", 170_000)
    an_offer(near, oil, "1 kg", 10_000, valid_until=TODAY - timedelta(days=1))
    an_offer(near, oil, "1 kg", 10_000, active=False)
    an_offer(a_supplier(active=False), oil, "1 kg", 10_000)
    assert best_offers([oil.pk], on=TODAY) == {oil.pk: best}
