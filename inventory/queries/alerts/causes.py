"""What the causes of alerts are found from; one function a question."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Count, Exists, F, Max, Min, OuterRef, Q, Subquery, Sum
from django.db.models.functions import Coalesce

from inventory.domain.alerts.causes import DatedLot, ExpectedUse
from inventory.domain.stock.ledger import Verb
from inventory.domain.stock.lots import LotState
from inventory.models.buying.orders import PurchaseOrder, PurchaseOrderLine
from inventory.models.buying.requirements import Requirement
from inventory.models.catalog.materials import Material
from inventory.models.counting.counts import StockCount
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.models.stock.reservations import Reservation, ReservationState


def dated_lots(*, until: date, among: Q) -> dict[Material, list[DatedLot]]:
    """Released lots with stock whose best before is on or before a day, by material. One query.

    `among` is a condition on the lots.
    """
    rows = (
        Lot.objects.filter(
            among,
            state=LotState.RELEASED.value,
            on_hand__gt=0,
            best_before__lte=until,
            material__active=True,
        )
        .select_related("material")
        .order_by("material__code", "best_before", "id")
    )
    found: dict[Material, list[DatedLot]] = defaultdict(list)
    for lot in rows:
        assert lot.best_before is not None  # the query asked for it
        dated = DatedLot(
            code=lot.code,
            on_hand=lot.on_hand,
            reserved=lot.reserved,
            best_before=lot.best_before,
        )
        found[lot.material].append(dated)
    return dict(found)


def expected_use(
    materials: Iterable[int], *, on: date, until: date, past_days: int
) -> dict[int, ExpectedUse]:
    """The use to be expected of each material until a day. Two queries.

    What plans require, whether it is reserved yet or not; and what was consumed and shipped in the
    past days, by the day of use.
    """
    ids = list(materials)
    required: dict[int, list[tuple[date, int]]] = defaultdict(list)
    for pk, due, amount in Requirement.objects.filter(
        material__in=ids, due_on__lte=until
    ).values_list("material", "due_on", "amount"):
        required[pk].append((due, amount))
    since = on - timedelta(days=past_days)
    used = (
        StockEntry.objects.filter(
            lot__material__in=ids, verb__in=[Verb.CONSUME.value, Verb.SHIP.value], on__gte=since
        )
        .values("lot__material")
        .annotate(total=Sum("on_hand"))
        .order_by()
    )
    totals = {row["lot__material"]: -int(row["total"]) for row in used}
    return {
        pk: ExpectedUse(required=required[pk], used=totals.get(pk, 0), used_days=past_days)
        for pk in ids
    }


@dataclass(frozen=True, slots=True)
class LateOrder:
    """A placed order whose day has passed, with the number of lines that are still to come."""

    code: str
    supplier: str
    expected_on: date
    lines: int


def late_orders(*, on: date) -> list[LateOrder]:
    """Orders that should have come before a day and have not, whole or in part. One query."""
    rows = (
        PurchaseOrderLine.objects.filter(
            order__state=PurchaseOrder.State.PLACED,
            order__expected_on__lt=on,
            amount__gt=F("received"),
        )
        .values_list("order__code", "order__supplier__name", "order__expected_on")
        .annotate(lines=Count("id"))
        .order_by("order__code")
    )
    return [LateOrder(*row) for row in rows]


@dataclass(frozen=True, slots=True)
class LateReservation:
    """An open reservation whose day has passed, with the number of lots it holds."""

    holder: str
    day: date
    lots: int


def late_reservations(*, on: date) -> list[LateReservation]:
    """Open reservations past their date. One query.

    That date is the one on which they expire, else the last one on which the holder's plan needs
    what they hold.
    """
    due = (
        Requirement.objects.filter(holder=OuterRef("holder"))
        .order_by()
        .values("holder")
        .annotate(last=Max("due_on"))
        .values("last")
    )
    rows = (
        Reservation.objects.filter(state=ReservationState.OPEN)
        .annotate(
            day=Coalesce("expires_on", Subquery(due)),
            held=Count("lines", filter=Q(lines__remaining__gt=0)),
        )
        .filter(day__lt=on)
        .order_by("holder")
    )
    return [LateReservation(*row) for row in rows.values_list("holder", "day", "held")]


@dataclass(frozen=True, slots=True)
class Uncounted:
    """A material with lots that were not counted for long, and since when."""

    material: int
    code: str
    name: str
    since: date
    lots: int


def uncounted(*, before: date, among: Q) -> list[Uncounted]:
    """Materials of which a lot with stock was last counted before a day. One query.

    A lot that was never counted is known from the day it was received. `among` is a condition on
    the lots.
    """
    counts = StockCount.objects.filter(lot=OuterRef("pk"))
    # A lot that was counted since then needs no look at when exactly.
    rows = (
        Lot.objects.filter(
            among,
            ~Exists(counts.filter(counted_on__gte=before)),
            on_hand__gt=0,
            received_on__lt=before,
            material__active=True,
        )
        .annotate(
            known=Coalesce(
                Subquery(counts.order_by("-counted_on").values("counted_on")[:1]), "received_on"
            )
        )
        .values_list("material", "material__code", "material__name")
        .annotate(since=Min("known"), lots=Count("id"))
        .order_by("material__code")
    )
    return [Uncounted(*row) for row in rows]
