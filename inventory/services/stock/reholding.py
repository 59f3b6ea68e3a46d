"""A reservation follows the bench: what it holds of a material is set to what was weighed."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date

from django.db import transaction

from inventory.domain.stock.ledger import Change, Verb
from inventory.models.stock.lots import Lot
from inventory.models.stock.reservations import ReservationLine
from inventory.queries.stock.candidates import ChosenLot, plan_picks
from inventory.services.stock.ledger import Origin, post
from inventory.services.stock.picking import lock_candidates, rebatch_for
from inventory.services.stock.reservations import lock_open
from studio.foundation.doers import By


@transaction.atomic
def rehold(
    reservation_id: int,
    material_id: int,
    wanted: Mapping[str, int],
    *,
    on: date,
    by: By = None,
    note: str = "",
    named: bool = True,
) -> dict[str, Lot]:
    """Hold exactly `wanted` (lot code -> stock units) of one material, and give back the rest.

    What a swap takes more of a lot is reserved at once, so nobody else can promise what already
    stands weighed on the bench. Without `named` nobody named the lots: they are those held, and
    more is taken of unsafe soap only where an owner chose it before. Raises ReservationClosed,
    NotFound for an unknown lot, and LotNotUsable for one that is blocked, past its best before on
    the day, of another material, or has less available, and NotForYou for more of unsafe soap that
    no owner chose for it; then nothing changes. Returns the locked lots by code.
    """
    reservation = lock_open(reservation_id)
    lines = list(
        reservation.lines.filter(lot__material_id=material_id).select_related("lot").order_by("id")
    )
    held = {line.lot.code: line.remaining for line in lines}
    lots = lock_candidates({}, on=on, codes=wanted, ids=[line.lot_id for line in lines])
    if more := _more(held, wanted):
        needs = {material_id: sum(more.values())}
        chosen = [ChosenLot(code=code, amount=amount) for code, amount in more.items()]
        rebatch = rebatch_for(reservation.holder, by, lots.values(), reservation=reservation.pk)
        if rebatch and not named:
            rebatch = replace(rebatch, by_owner=False)
        plan_picks(needs, lots, {material_id: chosen}, on=on, rebatch=rebatch)
    by_code = {lot.code: lot for lot in lots.values()}
    changes = _changes(held, wanted, by_code)
    if changes:
        origin = Origin(reference=reservation.holder, by=by, note=note, reservation=reservation)
        post(changes, lots=lots, origin=origin)
    _settle(reservation.pk, lines, wanted, by_code)
    return by_code


def _more(held: Mapping[str, int], wanted: Mapping[str, int]) -> dict[str, int]:
    """What is wanted beyond what is held, by lot code."""
    beyond = {code: amount - held.get(code, 0) for code, amount in wanted.items()}
    return {code: amount for code, amount in beyond.items() if amount > 0}


def _changes(
    held: Mapping[str, int], wanted: Mapping[str, int], lots: Mapping[str, Lot]
) -> list[tuple[int, Change]]:
    changes: list[tuple[int, Change]] = []
    for code in sorted({*held, *wanted}, key=lambda code: lots[code].pk):
        difference = wanted.get(code, 0) - held.get(code, 0)
        if difference:
            verb = Verb.RESERVE if difference > 0 else Verb.RELEASE
            changes.append((lots[code].pk, Change(verb, reserved=difference)))
    return changes


def _settle(
    reservation_id: int,
    lines: list[ReservationLine],
    wanted: Mapping[str, int],
    lots: Mapping[str, Lot],
) -> None:
    """The reservation's lines say what it holds now. At most two queries."""
    for line in lines:
        line.remaining = wanted.get(line.lot.code, 0)
        line.amount = max(line.amount, line.remaining)
    ReservationLine.objects.bulk_update(lines, ["amount", "remaining"])
    known = {line.lot.code for line in lines}
    ReservationLine.objects.bulk_create(
        ReservationLine(
            reservation_id=reservation_id, lot=lots[code], amount=amount, remaining=amount
        )
        for code, amount in wanted.items()
        if amount and code not in known
    )
