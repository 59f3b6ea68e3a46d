"""An open reservation grows, or gives back a part: an order holds bars as they cure."""

from collections.abc import Iterable, Mapping

from django.db import transaction

from inventory.domain.stock.ledger import Change, Verb
from inventory.models.stock.reservations import Reservation, ReservationLine, ReservationState
from inventory.services.stock.ledger import Origin, post
from inventory.services.stock.locks import lock_lots
from inventory.services.stock.reservations import (
    Held,
    Holding,
    end,
    lock_open,
    pick,
    picking_again,
    reserve,
)
from studio.foundation.doers import By
from studio.foundation.errors import InvalidInput


def hold(wanted: Holding, *, by: By = None) -> Held:
    """Hold what is wanted in the holder's open reservation beside what it holds, or in a new one.

    All or nothing. `Held.lots` is what was added. Raises as `reserve` does, ReservationClosed when
    the reservation ends meanwhile. Eight queries when nobody is in the way.
    """
    rows = Reservation.objects.filter(holder=wanted.holder, state=ReservationState.OPEN)
    reservation_id = rows.values_list("pk", flat=True).first()
    if reservation_id is None:
        return reserve(wanted, by=by)
    return picking_again(lambda reach: _add(reservation_id, wanted, by, reach))


@transaction.atomic
def give_back(
    reservation_id: int,
    amounts: Mapping[int, int],
    *,
    by: By = None,
    note: str = "",
) -> Reservation:
    """Give back a part of what a reservation holds: stock units by lot id.

    It ends as released when nothing is left. Raises ReservationClosed, InvalidInput for more than
    it holds of a lot.
    """
    reservation = lock_open(reservation_id)
    lines = {line.lot_id: line for line in reservation.lines.filter(lot__in=list(amounts))}
    for lot_id, amount in amounts.items():
        if lot_id not in lines or not 0 < amount <= lines[lot_id].remaining:
            raise InvalidInput("The reservation does not hold that much.", field="amount")
    lots = lock_lots(amounts)
    post(
        [(pk, Change(Verb.RELEASE, reserved=-amounts[pk])) for pk in sorted(amounts)],
        lots=lots,
        origin=Origin(reference=reservation.holder, by=by, note=note, reservation=reservation),
    )
    settle(reservation, lines.values(), amounts, ended=ReservationState.RELEASED)
    return reservation


def settle(
    reservation: Reservation,
    lines: Iterable[ReservationLine],
    amounts: Mapping[int, int],
    *,
    ended: ReservationState,
) -> None:
    """Take `amounts` (by lot id) off what a locked reservation holds; it ends as `ended` when
    nothing is left. Two or three queries."""
    rows = list(lines)
    for line in rows:
        line.remaining -= amounts[line.lot_id]
    ReservationLine.objects.bulk_update(rows, ["remaining"])
    if not reservation.lines.filter(remaining__gt=0).exists():
        end(reservation, ended)


def _add(reservation_id: int, wanted: Holding, by: By, reach: int | None) -> Held:
    reservation = lock_open(reservation_id)
    needs = {material: amount for material, amount in wanted.needs.items() if amount > 0}
    lots, held = pick(needs, wanted, reach=reach, by=by)
    known = {line.lot_id: line for line in reservation.lines.filter(lot__in=list(lots))}
    for lot, amount in held:
        if lot.pk in known:
            known[lot.pk].amount += amount
            known[lot.pk].remaining += amount
    ReservationLine.objects.bulk_update(known.values(), ["amount", "remaining"])
    ReservationLine.objects.bulk_create(
        ReservationLine(
            reservation_id=reservation.pk, lot_id=lot.pk, amount=amount, remaining=amount
        )
        for lot, amount in held
        if lot.pk not in known
    )
    post(
        [(lot.pk, Change(Verb.RESERVE, reserved=amount)) for lot, amount in held],
        lots=lots,
        origin=Origin(reference=wanted.holder, by=by, reservation=reservation),
    )
    return Held(reservation=reservation, lots=held)
