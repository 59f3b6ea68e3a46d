"""Several holders' stock held together, all or nothing, and what was made held for who waits."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.db import IntegrityError, transaction

from inventory.domain.stock.ledger import Change, Verb
from inventory.domain.stock.lots import LotState
from inventory.domain.stock.picking import PickPlan
from inventory.models.stock.lots import Lot
from inventory.models.stock.reservations import Reservation, ReservationLine, ReservationState
from inventory.queries.stock.candidates import plan_picks
from inventory.services.stock.ledger import Origin, post
from inventory.services.stock.locks import balance_of, lock_lots
from inventory.services.stock.picking import lock_candidates
from inventory.services.stock.reservations import Held, end, picking_again, refuse_or_pick_again
from studio.foundation.doers import By
from studio.foundation.errors import StateConflict

Dealt = dict[int, list[tuple[Lot, int]]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """What one of several holders wants: `needs` by material id in stock units."""

    holder: str
    needs: Mapping[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Together:
    """What several holders want at once, on a day on which all lots must be usable.

    `waits` says how much of a material may be left out over all holders, because it will be made;
    what there is of it is held all the same, for the first holders first.
    """

    shares: Sequence[Share]
    on: date
    waits: Mapping[int, int]
    expires_on: date | None = None


def reserve_together(wanted: Together, *, by: By = None) -> list[Held]:
    """Hold what all the holders want, or nothing; one reservation for each, in their order.

    All lots are locked by one read in the order of their ids. Raises NotEnoughStock naming every
    short material over all holders, StateConflict when one of them has an open reservation.
    """
    try:
        # All lots that the needs reach are read at once: what waits takes whatever is there.
        return picking_again(lambda _: _reserve_once(wanted, by))
    except IntegrityError:
        _refuse_second([share.holder for share in wanted.shares])
        raise


@transaction.atomic
def hold_made(lot_id: int, waiting: Sequence[tuple[int, int]], *, by: By = None) -> dict[int, int]:
    """Hold a lot for open reservations that wait for it: (reservation id, amount), first first.

    Nothing is waited for: a reservation that others are changing just now gets nothing. Returns
    what each reservation got, by its id.
    """
    reservations = {
        row.pk: row
        for row in Reservation.objects.select_for_update(skip_locked=True)
        .filter(pk__in=[pk for pk, _ in waiting], state=ReservationState.OPEN)
        .order_by("pk")
    }
    lots = lock_lots([lot_id])
    lot, held = lots[lot_id], {}
    for pk, amount in waiting:
        part = min(amount, balance_of(lot).available)
        if pk in reservations and part > 0 and lot.state == LotState.RELEASED.value:
            _hold_more(reservations[pk], lot, part, lots=lots, by=by)
            held[pk] = part
    return held


@transaction.atomic
def release_together(reservations: Iterable[int], *, by: By = None, note: str = "") -> None:
    """Give back all that these reservations still hold; those that have ended are passed over.

    Reservations are locked in the order of their ids, then all their lots in the order of theirs.
    """
    wanted = sorted(set(reservations))
    rows = Reservation.objects.select_for_update().filter(
        pk__in=wanted, state=ReservationState.OPEN
    )
    still_open = list(rows.order_by("pk"))
    lines: dict[int, list[ReservationLine]] = {row.pk: [] for row in still_open}
    held = ReservationLine.objects.filter(reservation__in=still_open, remaining__gt=0)
    for line in held.order_by("lot_id"):
        lines[line.reservation_id].append(line)
    lots = lock_lots(line.lot_id for some in lines.values() for line in some)
    for row in still_open:
        post(
            [(it.lot_id, Change(Verb.RELEASE, reserved=-it.remaining)) for it in lines[row.pk]],
            lots=lots,
            origin=Origin(reference=row.holder, by=by, note=note, reservation=row),
        )
        end(row, ReservationState.RELEASED)
    held.update(remaining=0)


def _hold_more(
    reservation: Reservation,
    lot: Lot,
    amount: int,
    *,
    lots: Mapping[int, Lot],
    by: By,
) -> None:
    ReservationLine.objects.create(
        reservation=reservation, lot_id=lot.pk, amount=amount, remaining=amount
    )
    post(
        [(lot.pk, Change(Verb.RESERVE, reserved=amount))],
        lots=lots,
        origin=Origin(reference=reservation.holder, by=by, reservation=reservation),
    )


def _reserve_once(wanted: Together, by: By) -> list[Held]:
    needs = _summed(share.needs for share in wanted.shares)
    lots = lock_candidates(needs, on=wanted.on)
    dealt = _dealt(_plan(needs, lots, wanted), lots)
    _refuse_second([share.holder for share in wanted.shares])
    held = [_deal(share, dealt) for share in wanted.shares]
    reservations = Reservation.objects.bulk_create(
        Reservation(holder=share.holder, expires_on=wanted.expires_on, by=by)
        for share in wanted.shares
    )
    ReservationLine.objects.bulk_create(
        ReservationLine(
            reservation_id=reservation.pk, lot_id=lot.pk, amount=amount, remaining=amount
        )
        for reservation, some in zip(reservations, held, strict=True)
        for lot, amount in some
    )
    for reservation, some in zip(reservations, held, strict=True):
        post(
            [(lot.pk, Change(Verb.RESERVE, reserved=amount)) for lot, amount in some],
            lots=lots,
            origin=Origin(reference=reservation.holder, by=by, reservation=reservation),
        )
    return [
        Held(reservation=reservation, lots=some)
        for reservation, some in zip(reservations, held, strict=True)
    ]


def _plan(needs: dict[int, int], lots: Mapping[int, Lot], wanted: Together) -> PickPlan:
    """Picks for all that is there; refuses where more is short than will be made."""
    plan = plan_picks(needs, lots, {}, on=wanted.on)
    from_shelf = {pk: need - wanted.waits.get(pk, 0) for pk, need in needs.items()}
    short = [each for each in plan.shortages if each.available < from_shelf[each.material]]
    if short:
        refuse_or_pick_again(
            PickPlan(picks=plan.picks, shortages=tuple(short)), from_shelf, on=wanted.on
        )
    if plan.is_covered:
        return plan
    there = {**needs, **{each.material: each.available for each in plan.shortages}}
    return plan_picks({pk: n for pk, n in there.items() if n}, lots, {}, on=wanted.on)


def _dealt(plan: PickPlan, lots: Mapping[int, Lot]) -> Dealt:
    return {
        material: [(lots[picked.lot.id], picked.amount) for picked in picks]
        for material, picks in plan.picks.items()
    }


def _deal(share: Share, dealt: Dealt) -> list[tuple[Lot, int]]:
    """What a holder gets of the lots that are left; `dealt` shrinks."""
    got: list[tuple[Lot, int]] = []
    for material, need in share.needs.items():
        lots, left = dealt.get(material, []), need
        while left and lots:
            lot, there = lots[0]
            part = min(left, there)
            got.append((lot, part))
            left -= part
            lots[0] = (lot, there - part)
            if part == there:
                lots.pop(0)
    return got


def _summed(needs: Iterable[Mapping[int, int]]) -> dict[int, int]:
    sums: dict[int, int] = defaultdict(int)
    for each in needs:
        for material, amount in each.items():
            if amount > 0:
                sums[material] += amount
    return dict(sums)


def _refuse_second(holders: Sequence[str]) -> None:
    holding = Reservation.objects.filter(holder__in=holders, state=ReservationState.OPEN)
    for holder in holding.order_by("holder").values_list("holder", flat=True)[:1]:
        raise StateConflict(f"{holder} already holds a reservation.", field="holder")
