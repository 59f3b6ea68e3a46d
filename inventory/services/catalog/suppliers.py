"""Suppliers, and their offers: a pack in their own unit, its price, what it holds in ours."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db import transaction
from django.utils import timezone

from inventory.domain.catalog.materials import MADE_HERE, check_ranges
from inventory.domain.catalog.packs import (
    MAX_PACKS,
    PackAmount,
    PriceBreak,
    check_breaks,
    pack_amount,
)
from inventory.errors import MaterialRefusal
from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import Offer, Supplier
from inventory.services.events import buying_cost_changed
from studio.foundation.doers import By, doer
from studio.foundation.errors import Faults, Refusal
from studio.foundation.money import MAX_MONEY
from studio.models import Unchanged, lock_kept
from studio.work.cleaning import take_clashes, take_field_faults
from studio.work.keeping import Expected, Names, faults_of, keep, locked, named


@transaction.atomic
def save_supplier(
    given: Supplier,
    names: Names = None,
    *,
    by: By = None,
    expected: Expected = None,
) -> Supplier:
    """Keep a supplier, a new one whole, of another the values with these names.

    Raises MaterialRefusal with every fault, and ChangedMeanwhile; then nothing changes.
    """
    supplier, was = locked(given, names, expected)
    faults_of(supplier, names).raise_if_any(MaterialRefusal)
    keep(supplier, names, by=by)
    if was is not None:  # its freight, and whether it is bought from
        offered = supplier.offers.values_list("material", flat=True)
        buying_cost_changed.send(Supplier, materials=frozenset(offered))
    return supplier


def add_supplier(**values: object) -> Supplier:
    """A new supplier from its columns' values. Raises MaterialRefusal with every fault."""
    return save_supplier(Supplier(**values))


_FIELDS = (
    "code",
    "supplier_item",
    "pack_written",
    "density_g_ml",
    "density_temperature_c",
    "price",
    "minimum_packs",
    "lead_time_days",
    "valid_from",
    "valid_until",
    "active",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class OfferDescription:
    """All that is kept of an offer; `supplier` and `material` are codes, `price` is for one pack.

    `pack_written` is the supplier's own text ("1 gal", "35 lb", "12 each"); `density_g_ml` his
    own density at his temperature, empty when he states none. `breaks` are the lower prices of
    larger purchases: each holds for all packs of an order.
    """

    code: str
    supplier: str
    material: str
    pack_written: str
    price: int
    supplier_item: str = ""
    density_g_ml: Decimal | None = None
    density_temperature_c: Decimal | None = None
    breaks: Sequence[PriceBreak] = ()
    minimum_packs: int = 1
    lead_time_days: int | None = None
    valid_from: date | None = None
    valid_until: date | None = None
    active: bool = True


@transaction.atomic
def save_offer(
    described: OfferDescription,
    *,
    offer_id: int | None = None,
    unchanged: Unchanged | None = None,
    by: By = None,
) -> Offer:
    """Keep an offer as described: a new one, or in place of what `offer_id` was.

    A volume becomes mass through the supplier's density, else the material's nominal one;
    `pack_of` says which. Raises MaterialRefusal with every fault; then nothing changes.
    """
    faults = Faults()
    # Locked so that its unit and density hold until the offer is kept; before the offer, in the
    # same order as when a changed density weighs offers again.
    material = (
        Material.objects.select_for_update(no_key=True).filter(code=described.material).first()
    )
    offer = Offer() if offer_id is None else lock_kept(Offer, offer_id, unchanged)
    supplier = Supplier.objects.filter(code=described.supplier).first()
    for name in _FIELDS:
        setattr(offer, name, getattr(described, name))
    if supplier is None:
        faults.add("not-found", f"There is no supplier {described.supplier}.", "supplier")
    else:
        offer.supplier = supplier
    offer.price_breaks = [[each.from_packs, each.price] for each in described.breaks]
    _check_values(faults, described)
    take_field_faults(
        faults, offer, only=("code", "supplier_item", "pack_written", "lead_time_days")
    )
    _weigh(faults, offer, material, named=described.material)
    if not faults:
        take_clashes(faults, offer, only=("code",))
    faults.raise_if_any(MaterialRefusal)
    offer.revision += 0 if offer_id is None else 1
    named(offer, by)
    offer.save()
    buying_cost_changed.send(Offer, materials=frozenset({offer.material_id}))
    return offer


def pack_of(offer: Offer, *, packs: int = 1, stated_g_ml: Decimal | None = None) -> PackAmount:
    """What packs of an offer hold and which density says so; `stated_g_ml` goes before all.

    Raises UnitRefusal, as when the material has lost the density that the offer rests on.
    """
    return pack_amount(
        offer.pack_written,
        counted=offer.material.counted,
        packs=packs,
        stated_g_ml=offer.density_g_ml if stated_g_ml is None else stated_g_ml,
        nominal_g_ml=offer.material.density_g_ml,
    )


def weigh_offers_again(material: Material, *, by: By = None) -> int:
    """Let offers follow a material's changed density; returns how many changed.

    Offers with a density of their own keep their amounts. Raises MaterialRefusal naming the
    offers whose pack is a volume when the density was taken away. Three queries.
    """
    faults = Faults()
    changed, now = [], timezone.now()
    for offer in material.offers.select_for_update().filter(density_g_ml__isnull=True):
        offer.material = material
        try:
            amount = pack_of(offer).amount
        except Refusal:
            faults.add(
                "density-in-use",
                f"Offer {offer.code} ({offer.pack_written}) is weighed by this density.",
                "density_g_ml",
            )
            continue
        if amount != offer.pack_amount:
            offer.pack_amount = amount
            offer.revision += 1
            offer.changed_by, offer.updated_at = by or doer(), now
            changed.append(offer)
    faults.raise_if_any(MaterialRefusal)
    if changed:
        Offer.objects.bulk_update(changed, ["pack_amount", "revision", "changed_by", "updated_at"])
        buying_cost_changed.send(Offer, materials=frozenset({material.pk}))
    return len(changed)


def _check_values(faults: Faults, described: OfferDescription) -> None:
    check_ranges(faults, described, ("density_g_ml", "density_temperature_c"))
    if not 0 <= described.price <= MAX_MONEY:
        faults.add("out-of-range", "A price is not below zero, nor too large.", "price")
    check_breaks(faults, described.breaks, price=described.price)
    if not 1 <= described.minimum_packs <= MAX_PACKS:
        faults.add(
            "out-of-range", f"The fewest packs sold are from 1 to {MAX_PACKS}.", "minimum_packs"
        )
    first, last = described.valid_from, described.valid_until
    if first is not None and last is not None and last < first:
        faults.add("dates-reversed", "The offer ends before it begins.", "valid_until")


def _weigh(faults: Faults, offer: Offer, material: Material | None, *, named: str) -> None:
    """Set the material and what a pack holds of it, or add why that cannot be."""
    if material is None:
        faults.add("not-found", f"There is no material {named}.", "material")
        return
    if material.kind in MADE_HERE:
        faults.add("made-here", f"{material.name} is made here and not bought.", "material")
    offer.material = material
    try:
        offer.pack_amount = pack_of(offer).amount
    except Refusal as refusal:
        faults.take(refusal, "pack_written")
