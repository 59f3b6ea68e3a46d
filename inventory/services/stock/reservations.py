"""Reservations: hold stock for a holder, whole or not at all, and give it back.

A reservation takes one locked read of just the lots it needs, one look for an open reservation,
one insert of the reservation, one of its lines, one UPDATE of the lots and one insert of the
entries, however many lines it has.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import NoReturn, TypeVar

from django.db import IntegrityError, transaction
from django.utils import timezone

from inventory.domain.stock.ledger import Change, Verb
from inventory.domain.stock.picking import PickPlan
from inventory.errors import ReservationClosed
from inventory.models.stock.lots import Lot
from inventory.models.stock.reservations import Reservation, ReservationLine, ReservationState
from inventory.queries.stock.candidates import Choices, plan_picks
from inventory.queries.stock.on_hand import available_by_material
from inventory.services.stock.ledger import Origin, post
from inventory.services.stock.locks import lock_lots
from inventory.services.stock.picking import (
    NEAREST,
    codes_of,
    lock_candidates,
    rebatch_for,
    shortage_refusal,
)
from studio.foundation.doers import By
from studio.foundation.errors import NotFound, StateConflict

Answer = TypeVar("Answer")

#: How often a pick is tried again because others took the same lots between reading and locking.
ATTEMPTS = 50


class _Contended(Exception):
    """There is enough, but not in the lots that were reached: pick again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Holding:
    """What is wanted: `needs` by material id in stock units, for `holder`, on the day `on`.

    With `oldest` the lots that came first are picked first, whatever their best before: bars for
    customers, those that have cured longest.
    """

    needs: Mapping[int, int]
    holder: str
    on: date
    chosen: Choices = field(default_factory=dict)
    expires_on: date | None = None
    oldest: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """What a reservation holds: the row and the lots with their amounts, in the order of use."""

    reservation: Reservation
    lots: Sequence[tuple[Lot, int]]


def reserve(wanted: Holding, *, by: By = None) -> Held:
    """Hold what is wanted, all or nothing.

    Lots are picked first-expired-first-out among those released and not past their best before
    on the day; chosen lots come first. Raises NotEnoughStock naming every short material with
    needed, available, short and the earliest date it could be covered, LotNotUsable for a choice
    that can't be followed, NotForYou for one of unsafe soap by anybody but an owner, StateConflict
    when the holder already has an open reservation. Six
    queries when nobody is in the way.
    """
    try:
        return picking_again(lambda reach: _reserve_once(wanted, by, reach))
    except IntegrityError:
        # Two writers for one holder: the constraint on open reservations keeps the later one out.
        _refuse_second(wanted.holder)
        raise


@transaction.atomic
def release(reservation_id: int, *, by: By = None, note: str = "") -> Reservation:
    """Give back all that a reservation still holds. Raises ReservationClosed if it has ended."""
    return _close(reservation_id, ReservationState.RELEASED, by=by, note=note)


def expire_reservations(*, today: date) -> int:
    """Give back what reservations past their date still hold; returns how many expired."""
    due = Reservation.objects.filter(state=ReservationState.OPEN, expires_on__lt=today)
    expired = 0
    for pk in due.order_by("pk").values_list("pk", flat=True):
        try:
            with transaction.atomic():
                _close(pk, ReservationState.EXPIRED, by=None, note="past its date")
        except ReservationClosed:
            continue
        expired += 1
    return expired


def picking_again(work: Callable[[int | None], Answer]) -> Answer:
    """Do `work` in a transaction, anew while others take the lots it was about to lock.

    It is given how many lots of a material to reach: the nearest at first, all when they did not
    cover the need. Each time starts anew, because more locks after the first would be taken out
    of the order of ids. Raises StateConflict when others are too often quicker.
    """
    for attempt in range(ATTEMPTS):
        try:
            with transaction.atomic():
                return work(None if attempt else NEAREST)
        except _Contended:
            continue
    raise StateConflict("Too many others take the same lots just now; try again in a moment.")


def refuse_or_pick_again(plan: PickPlan, needs: Mapping[int, int], *, on: date) -> NoReturn:
    """Read anew what is available: enough means others were quicker, or more lots are needed than
    were reached; less is a shortage.

    Inside `picking_again`, for a plan that is not covered. Raises NotEnoughStock.
    """
    short = [shortage.material for shortage in plan.shortages]
    available = available_by_material(short, on=on)
    if all(available.get(material, 0) >= needs[material] for material in short):
        raise _Contended
    raise shortage_refusal(
        {
            material: (needs[material], available.get(material, 0))
            for material in short
            if available.get(material, 0) < needs[material]
        }
    )


def pick(
    needs: Mapping[int, int], wanted: Holding, *, reach: int | None, by: By
) -> tuple[dict[int, Lot], list[tuple[Lot, int]]]:
    """The locked lots by id, and what is to be taken of them in the order of use. One query.

    Inside `picking_again`. Raises as `reserve` does.
    """
    codes = codes_of(wanted.chosen)
    lots = lock_candidates(needs, on=wanted.on, codes=codes, reach=reach, oldest=wanted.oldest)
    plan = plan_picks(
        needs,
        lots,
        wanted.chosen,
        on=wanted.on,
        oldest=wanted.oldest,
        rebatch=rebatch_for(wanted.holder, by),
    )
    if not plan.is_covered:
        refuse_or_pick_again(plan, needs, on=wanted.on)
    return lots, [(lots[p.lot.id], p.amount) for picks in plan.picks.values() for p in picks]


def lock_open(reservation_id: int) -> Reservation:
    """Lock a reservation that is still open. Raises NotFound, ReservationClosed. One query."""
    try:
        reservation = Reservation.objects.select_for_update().get(pk=reservation_id)
    except Reservation.DoesNotExist:
        raise NotFound(f"There is no reservation {reservation_id}.") from None
    if reservation.state != ReservationState.OPEN:
        raise ReservationClosed(
            f"The reservation for {reservation.holder} was already {reservation.state}."
        )
    return reservation


def end(reservation: Reservation, state: ReservationState) -> None:
    """Close a locked reservation of which nothing remains to be settled. One query."""
    reservation.state = state
    reservation.closed_at = timezone.now()
    reservation.save(update_fields=["state", "closed_at"])


def _reserve_once(wanted: Holding, by: By, reach: int | None) -> Held:
    needs = {material: amount for material, amount in wanted.needs.items() if amount > 0}
    lots, held = pick(needs, wanted, reach=reach, by=by)
    _refuse_second(wanted.holder)
    reservation = Reservation.objects.create(
        holder=wanted.holder, expires_on=wanted.expires_on, by=by
    )
    ReservationLine.objects.bulk_create(
        ReservationLine(
            reservation_id=reservation.pk, lot_id=lot.pk, amount=amount, remaining=amount
        )
        for lot, amount in held
    )
    post(
        [(lot.pk, Change(Verb.RESERVE, reserved=amount)) for lot, amount in held],
        lots=lots,
        origin=Origin(reference=wanted.holder, by=by, reservation=reservation),
    )
    return Held(reservation=reservation, lots=held)


def _refuse_second(holder: str) -> None:
    if Reservation.objects.filter(holder=holder, state=ReservationState.OPEN).exists():
        raise StateConflict(f"{holder} already holds a reservation.", field="holder")


def _close(reservation_id: int, state: ReservationState, *, by: By, note: str) -> Reservation:
    reservation = lock_open(reservation_id)
    lines = list(reservation.lines.filter(remaining__gt=0).order_by("lot_id"))
    lots = lock_lots([line.lot_id for line in lines])
    post(
        [(line.lot_id, Change(Verb.RELEASE, reserved=-line.remaining)) for line in lines],
        lots=lots,
        origin=Origin(reference=reservation.holder, by=by, note=note, reservation=reservation),
    )
    reservation.lines.filter(remaining__gt=0).update(remaining=0)
    end(reservation, state)
    return reservation
