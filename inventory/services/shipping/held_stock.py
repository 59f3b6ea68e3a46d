"""What reservations hold leaves with a shipment."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from inventory.domain.stock.ledger import Change, Verb, taking
from inventory.models.stock.lots import Lot
from inventory.models.stock.reservations import Reservation, ReservationLine, ReservationState
from inventory.services.stock.holding_more import settle
from inventory.services.stock.ledger import Origin, post
from inventory.services.stock.locks import balance_of
from inventory.services.stock.reservations import lock_open


@dataclass(frozen=True, slots=True)
class Holdings:
    """A locked reservation that is open, with its lines by lot id."""

    reservation: Reservation
    lines: Mapping[int, ReservationLine]

    def held_of(self, lot_id: int) -> int:
        """What it still holds of a lot."""
        line = self.lines.get(lot_id)
        return 0 if line is None else line.remaining


def lock_holding(reservations: Iterable[int]) -> dict[int, Holdings]:
    """Lock open reservations in the order of their ids. Two queries for each.

    Before their lots are locked. Raises NotFound, ReservationClosed.
    """
    found = {}
    for pk in sorted(set(reservations)):
        reservation = lock_open(pk)
        lines = reservation.lines.filter(remaining__gt=0)
        found[pk] = Holdings(reservation, {line.lot_id: line for line in lines})
    return found


def take_held(
    holding: Holdings, amounts: Mapping[int, int], *, lots: Mapping[int, Lot], origin: Origin
) -> Sequence[tuple[int, Change]]:
    """Ship `amounts` (by lot id) of what a reservation holds, each with its share of cost.

    `lots` are locked. The reservation ends as consumed when it holds nothing more.
    """
    changes = [
        (pk, taking(Verb.SHIP, balance_of(lots[pk]), amount, from_reserved=amount))
        for pk, amount in sorted(amounts.items())
    ]
    post(changes, lots=lots, origin=replace(origin, reservation=holding.reservation))
    lines = [holding.lines[pk] for pk in amounts]
    settle(holding.reservation, lines, amounts, ended=ReservationState.CONSUMED)
    return changes
