"""Taking stock out: a reservation is consumed by what was weighed, or one lot is drawn on."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from django.db import transaction
from django.utils import timezone

from inventory.domain.stock.freshness import is_expired
from inventory.domain.stock.ledger import Change, Verb, taking
from inventory.domain.stock.lots import LotState, LotView
from inventory.errors import LotNotUsable
from inventory.models.stock.lots import Lot
from inventory.models.stock.reservations import ReservationLine, ReservationState
from inventory.queries.stock.candidates import Choices, plan_picks, view_of
from inventory.services.stock.ledger import Origin, post
from inventory.services.stock.locks import balance_of, lock_lots
from inventory.services.stock.picking import (
    codes_of,
    lock_candidates,
    rebatch_for,
    shortage_refusal,
)
from inventory.services.stock.reservations import (
    end,
    lock_open,
    picking_again,
    refuse_or_pick_again,
)
from studio.foundation.errors import Faults, InvalidInput


@dataclass(frozen=True, slots=True, kw_only=True)
class Actual:
    """What was really used, by material id in stock units, and from which lots where they differ.

    With chosen lots every one states its amount and they add up to the material's; without, the
    reserved lots are used in their order, and anything beyond comes first-expired-first-out.
    """

    amounts: Mapping[int, int]
    chosen: Choices = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Taken:
    """An amount taken from one lot, with the cost that went with it."""

    lot: Lot
    amount: int
    cost: int


def consume_reservation(
    reservation_id: int, actual: Actual, *, on: date, origin: Origin
) -> list[Taken]:
    """Consume what was used of the actual's materials and give back the rest held of them.

    Lots are judged on the day of use `on`, those that are held as well. Lines of other materials
    stay reserved; when nothing is left the reservation ends as consumed. Raises ReservationClosed,
    NotEnoughStock, LotNotUsable, NotForYou for unsafe soap that no owner chose, DayRefusal,
    InvalidInput; then nothing changes.
    """
    _check_choices(actual)
    return picking_again(
        lambda reach: _consume_once(reservation_id, actual, on=on, origin=origin, reach=reach)
    )


@transaction.atomic
def draw(
    lot_id: int,
    amount: int,
    *,
    verb: Verb = Verb.CONSUME,
    origin: Origin,
    any_state: bool = False,
) -> Taken:
    """Take an unreserved amount out of one lot (consume, ship or spoil), with its share of cost.

    Only a released lot is consumed or shipped, and any may be spoiled; `any_state` is for a lot
    that only changes its form and whose block goes on with it. It is of the origin's day. Raises
    NotEnoughStock when less is available, LotNotUsable, DayRefusal, InvalidInput for nothing or
    less.
    """
    if amount <= 0:
        raise InvalidInput("The amount must be above zero.", field="amount")
    lots = lock_lots([lot_id])
    lot = lots[lot_id]
    if verb is not Verb.SPOIL and not any_state:
        _refuse_unusable([view_of(lot)], on=origin.on or timezone.localdate(), field="lot")
    if amount > balance_of(lot).available:
        raise shortage_refusal({lot.material_id: (amount, balance_of(lot).available)})
    change = taking(verb, balance_of(lot), amount)
    post([(lot_id, change)], lots=lots, origin=origin)
    return Taken(lot, amount, -change.cost)


def _consume_once(
    reservation_id: int, actual: Actual, *, on: date, origin: Origin, reach: int | None
) -> list[Taken]:
    reservation = lock_open(reservation_id)
    lines = list(
        reservation.lines.filter(remaining__gt=0, lot__material__in=list(actual.amounts))
        .select_related("lot")
        .order_by("id")
    )
    beyond = _beyond(lines, actual)
    lots = lock_candidates(
        beyond,
        on=on,
        codes=codes_of(actual.chosen),
        ids=[line.lot_id for line in lines],
        reach=reach,
    )
    takes = _takes(lines, lots, actual, beyond, on=on, origin=origin)
    held = {line.lot_id: line.remaining for line in lines}
    taken, changes = _changes(takes, held, lots)
    post(
        changes,
        lots=lots,
        origin=replace(origin, on=on, reservation=reservation),
    )
    ReservationLine.objects.filter(pk__in=[line.pk for line in lines]).update(remaining=0)
    if not reservation.lines.filter(remaining__gt=0).exists():
        end(reservation, ReservationState.CONSUMED)
    return taken


def _check_choices(actual: Actual) -> None:
    faults = Faults()
    if any(amount < 0 for amount in actual.amounts.values()):
        faults.add("negative-amount", "An amount cannot be below zero.", "amounts")
    for material, some in actual.chosen.items():
        if material not in actual.amounts:
            faults.add(
                "material-not-used",
                "Lots were chosen for a material of which no used amount is stated.",
                "chosen",
            )
        elif some and any(lot.amount is None for lot in some):
            faults.add("amount-missing", "State how much of each chosen lot was used.", "chosen")
        elif some and sum(lot.amount or 0 for lot in some) != actual.amounts[material]:
            faults.add(
                "chosen-amounts-differ",
                "The amounts of the chosen lots must add up to what was used.",
                "chosen",
            )
    faults.raise_if_any(InvalidInput)


def _beyond(lines: Sequence[ReservationLine], actual: Actual) -> dict[int, int]:
    """What each material needs beyond its reserved lots, where no lots were chosen."""
    held: dict[int, int] = {}
    for line in lines:
        held[line.lot.material_id] = held.get(line.lot.material_id, 0) + line.remaining
    return {
        material: amount - held.get(material, 0)
        for material, amount in actual.amounts.items()
        if material not in actual.chosen and amount > held.get(material, 0)
    }


def _takes(
    lines: Sequence[ReservationLine],
    lots: Mapping[int, Lot],
    actual: Actual,
    beyond: Mapping[int, int],
    *,
    on: date,
    origin: Origin,
) -> dict[int, int]:
    """How much to take from each lot (by id)."""
    takes: dict[int, int] = {}
    left = {m: amount for m, amount in actual.amounts.items() if m not in actual.chosen}
    for line in lines:
        material = line.lot.material_id
        amount = min(left.get(material, 0), line.remaining)
        if amount:
            takes[line.lot_id] = amount
            left[material] -= amount
    reservation = lines[0].reservation_id if lines else None
    rebatch = rebatch_for(origin.reference, origin.by, lots.values(), reservation=reservation)
    unsafe = rebatch.decided if rebatch else ()
    _refuse_unusable([view_of(lots[pk]) for pk in takes if pk not in unsafe], on=on)
    needs = {m: sum(lot.amount or 0 for lot in some) for m, some in actual.chosen.items()}
    credit = {line.lot_id: line.remaining for line in lines if line.lot.material_id in needs}
    plan = plan_picks(
        {**beyond, **needs}, lots, actual.chosen, on=on, credit=credit, rebatch=rebatch
    )
    if not plan.is_covered:
        refuse_or_pick_again(plan, {**beyond, **needs}, on=on)
    for picks in plan.picks.values():
        for picked in picks:
            takes[picked.lot.id] = takes.get(picked.lot.id, 0) + picked.amount
    return takes


def _refuse_unusable(lots: Sequence[LotView], *, on: date, field: str = "chosen") -> None:
    """A lot that was blocked after it was reserved, or is over on the day of use, is not consumed;
    another must be chosen."""
    faults = Faults()
    for lot in lots:
        if lot.state is not LotState.RELEASED:
            faults.add(
                LotNotUsable.code,
                f"Lot {lot.code} is {lot.state}; choose another lot of the material.",
                field,
                lot=lot.code,
            )
        elif is_expired(lot.best_before, on=on):
            faults.add(
                LotNotUsable.code,
                f"Lot {lot.code} has passed its best before ({lot.best_before}) on {on}; choose "
                "another lot of the material, or correct its best before.",
                field,
                lot=lot.code,
            )
    faults.raise_if_any(LotNotUsable)


def _changes(
    takes: Mapping[int, int], held: Mapping[int, int], lots: Mapping[int, Lot]
) -> tuple[list[Taken], list[tuple[int, Change]]]:
    taken: list[Taken] = []
    changes: list[tuple[int, Change]] = []
    for lot_id in sorted({*takes, *held}):
        amount, reserved = takes.get(lot_id, 0), held.get(lot_id, 0)
        if amount:
            change = taking(
                Verb.CONSUME,
                balance_of(lots[lot_id]),
                amount,
                from_reserved=min(amount, reserved),
            )
            changes.append((lot_id, change))
            taken.append(Taken(lots[lot_id], amount, -change.cost))
        if reserved > amount:
            changes.append((lot_id, Change(Verb.RELEASE, reserved=amount - reserved)))
    return taken, changes
