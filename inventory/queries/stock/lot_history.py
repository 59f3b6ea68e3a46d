"""What happened to a lot, and what a material cost and went into."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Count, Max, Q, QuerySet

from inventory.models.buying.requirements import Requirement
from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import Offer
from inventory.models.receiving.deliveries import DeliveryLine
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot, LotLink
from inventory.models.stock.reservations import ReservationLine, ReservationState
from studio.foundation.errors import NotFound

MOST_ENTRIES = 200
MOST_PRICES = 120
MOST_USES = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class LedgerLine:
    """One entry of a lot, with what was on hand and reserved after it (stock units)."""

    entry: StockEntry
    on_hand: int
    reserved: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeOf:
    """A material that was made with another: how many lots, and the day of the newest."""

    code: str
    name: str
    lots: int
    newest: date


def lot_at(code: str) -> Lot:
    """A lot with what its page shows of it. One query. Raises NotFound."""
    related = ("material", "supplier", "location", "delivery_line__delivery")
    lot = Lot.objects.select_related(*related).filter(code=code).first()
    if lot is None:
        raise NotFound(f"There is no lot {code}.", field="lot")
    return lot


def material_at(code: str) -> Material:
    """A material by its code. One query. Raises NotFound."""
    material = Material.objects.filter(code=code).first()
    if material is None:
        raise NotFound(f"There is no material {code}.", field="material")
    return material


def history_of(lot: Lot) -> list[LedgerLine]:
    """The newest entries of a lot, the newest first, each with the balance after it. One query.

    The balances are reckoned back from what the lot holds now, so a long history needs no more
    of the ledger than it shows.
    """
    on_hand, reserved = lot.on_hand, lot.reserved
    lines = []
    for entry in lot.entries.select_related("by").order_by("-id")[:MOST_ENTRIES]:
        lines.append(LedgerLine(entry=entry, on_hand=on_hand, reserved=reserved))
        on_hand -= entry.on_hand
        reserved -= entry.reserved
    return lines


def held_lines(lot: Lot) -> list[ReservationLine]:
    """What open reservations hold of a lot, the oldest first. One query."""
    return list(
        ReservationLine.objects.filter(
            lot=lot, remaining__gt=0, reservation__state=ReservationState.OPEN
        )
        .select_related("reservation")
        .order_by("id")
    )


def lots_of(material: Material, *, with_empty: bool) -> list[Lot]:
    """A material's lots in the order of use; with `with_empty` the newest of those used up too.

    One query.
    """
    rows = Lot.objects.filter(material=material).select_related("supplier", "location")
    held = rows if with_empty else rows.filter(on_hand__gt=0)
    newest = list(held.order_by("-id")[:MOST_USES])
    return sorted(
        newest,
        key=lambda lot: (not lot.on_hand, lot.best_before or date.max, lot.received_on, lot.pk),
    )


def bought(material: Material) -> list[DeliveryLine]:
    """What deliveries brought of a material, the newest first. One query."""
    lines = DeliveryLine.objects.filter(material=material).select_related(
        "delivery__supplier", "lot"
    )
    return list(lines.order_by("-delivery__received_on", "-id")[:MOST_PRICES])


def offers_of(material: Material) -> list[Offer]:
    """The offers of a material, those in use first. One query."""
    return list(
        material.offers.select_related("supplier").order_by("-active", "supplier__name", "id")
    )


def needs_of(material: Material) -> list[Requirement]:
    """What plans need of a material, the soonest first. One query."""
    return list(material.requirements.order_by("due_on", "id")[:MOST_USES])


def made_with(material: Material) -> list[MadeOf]:
    """What was made of a material, as the lots say, the latest first. One query."""
    rows = (
        LotLink.objects.filter(parent__material=material)
        .values("child__material__code", "child__material__name")
        .annotate(lots=Count("child", distinct=True), newest=Max("child__received_on"))
        .order_by("-newest", "child__material__name")
    )
    return [
        MadeOf(
            code=row["child__material__code"],
            name=row["child__material__name"],
            lots=row["lots"],
            newest=row["newest"],
        )
        for row in rows[:MOST_USES]
    ]


def expiring(lots: Sequence[Lot], *, on: date, within: timedelta) -> list[Lot]:
    """Those of the lots that hold something and reach their best before soon. No query."""
    return [
        lot for lot in lots if lot.on_hand and lot.best_before and lot.best_before <= on + within
    ]


def known_names(text: str, *, supplier: str, limit: int) -> tuple[list[Material], list[Offer]]:
    """Materials and one supplier's offers that may be meant by what is typed. Two queries."""
    meant = Q(name__icontains=text) | Q(code__icontains=text)
    materials = Material.objects.filter(meant, active=True).order_by("name", "id")[:limit]
    offers = offers_meant(text, supplier=supplier)[:limit]
    return list(materials), list(offers)


def offers_meant(text: str, *, supplier: str) -> QuerySet[Offer]:
    """A supplier's offers in use, by code, the supplier's item number or the material's name."""
    meant = (
        Q(code__icontains=text)
        | Q(supplier_item__icontains=text)
        | Q(material__name__icontains=text)
    )
    offers = Offer.objects.filter(meant, active=True, supplier__code=supplier)
    return offers.select_related("material").order_by("material__name", "id")
