"""The reads of the inventory: one function a question, each with a fixed number of queries."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import F, Min, Q, QuerySet, Sum
from django.db.models.functions import Coalesce
from django.utils import timezone

from inventory.domain.ledger import Verb
from inventory.domain.lots import LotStatus
from inventory.models import Lot, Offer, PurchaseOrder, PurchaseOrderLine, StockEntry


def usable(on: date) -> Q:
    """Condition for lots that may be picked on a day: released and not past their best before."""
    return Q(status=LotStatus.RELEASED.value) & (
        Q(best_before__isnull=True) | Q(best_before__gte=on)
    )


def available_by_material(materials: Iterable[int], *, on: date) -> dict[int, int]:
    """What may still be reserved of each material (stock units), by material id. One query."""
    rows = (
        Lot.objects.filter(usable(on), material__in=list(materials))
        .values("material")
        .annotate(available=Sum(F("on_hand") - F("reserved")))
        .order_by("material")
    )
    return {row["material"]: int(row["available"]) for row in rows}


def coverage_dates(materials: Iterable[int]) -> dict[int, date]:
    """The earliest day a placed order or a new one could bring each material in. Two queries."""
    wanted = list(materials)
    ordered = (
        PurchaseOrderLine.objects.filter(
            material__in=wanted, order__state=PurchaseOrder.State.PLACED, amount__gt=F("received")
        )
        .values("material")
        .annotate(day=Min("order__expected_on"))
        .order_by("material")
    )
    dates: dict[int, date] = {row["material"]: row["day"] for row in ordered}
    today = timezone.localdate()
    offered = (
        current_offers(today)
        .filter(material__in=wanted)
        .values("material")
        .annotate(days=Min(Coalesce("lead_time_days", "supplier__lead_time_days")))
        .order_by("material")
    )
    for row in offered:
        day = today + timedelta(days=row["days"])
        dates[row["material"]] = min(dates.get(row["material"], day), day)
    return dates


def current_offers(on: date) -> "QuerySet[Offer]":
    """Offers that hold on a day, of suppliers that are still bought from."""
    return Offer.objects.filter(
        Q(valid_from__isnull=True) | Q(valid_from__lte=on),
        Q(valid_until__isnull=True) | Q(valid_until__gte=on),
        active=True,
        supplier__active=True,
    )


@dataclass(frozen=True, slots=True)
class Take:
    """What was consumed of one lot for a document: stock units, with the cost that went along."""

    lot_id: int
    lot_code: str
    material_id: int
    material_code: str
    material_name: str
    unit: str
    amount: int
    cost: int


def takes_for(reference: str) -> list[Take]:
    """What was consumed for a document ("batch:B-00012"), lot by lot. One query."""
    entries = (
        StockEntry.objects.filter(reference=reference, verb=Verb.CONSUME.value)
        .select_related("lot__material")
        .order_by("id")
    )
    return [
        Take(
            lot_id=entry.lot_id,
            lot_code=entry.lot.code,
            material_id=entry.lot.material_id,
            material_code=entry.lot.material.code,
            material_name=entry.lot.material.name,
            unit=entry.lot.material.stock_unit,
            amount=-entry.on_hand,
            cost=-entry.cost,
        )
        for entry in entries
    ]
