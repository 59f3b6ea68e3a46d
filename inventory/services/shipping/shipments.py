"""Shipments: bars leave for a customer; `inventory.services.shipping.returns` takes them back."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from django.db import transaction
from django.db.models import F, Q

from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.stock.days import broken_day_rule
from inventory.domain.stock.freshness import is_expired
from inventory.domain.stock.ledger import Change, Verb, taking
from inventory.domain.stock.lots import LotState
from inventory.errors import LotNotUsable, ShipmentRefusal
from inventory.models.catalog.materials import Material
from inventory.models.shipping.shipments import Shipment, ShipmentLine
from inventory.models.stock.lots import Lot
from inventory.models.stock.reservations import Reservation, ReservationLine, ReservationState
from inventory.services.days import days_of, take_day_outside
from inventory.services.stock.holding_more import settle
from inventory.services.stock.ledger import Origin, post
from inventory.services.stock.locks import balance_of
from inventory.services.stock.picking import shortage_refusal
from inventory.services.stock.reservations import lock_open
from studio.foundation.doers import By
from studio.foundation.errors import Faults, NotFound
from studio.work.cleaning import take_field_faults
from studio.work.numbering import next_code


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


_FIELDS = ("customer_name", "reference", "note")


@dataclass(frozen=True, slots=True, kw_only=True)
class ToShip:
    """So many pieces of bars: out of the lot named, or the oldest cure first of the material.

    With `reservation` they are those that it holds of the lot named.
    """

    amount: int
    lot: str = ""
    material: str = ""
    reservation: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Shipping:
    """A shipment to make, for a customer by name; `reference` is his order, if he gave one."""

    customer_name: str
    shipped_on: date
    lines: Sequence[ToShip]
    reference: str = ""
    note: str = ""


@transaction.atomic
def ship(shipping: Shipping, *, by: By = None) -> Shipment:
    """Send bars to a customer, all of it or nothing, each lot with its share of cost.

    Named lots come first, then of each named material the lots that have cured longest. Only
    released lots that are not past their best before. A reservation ends when it holds nothing
    more. Raises ShipmentRefusal and LotNotUsable with every fault, DayRefusal for lots that came
    in or were still held after that day, NotFound, ReservationClosed, NotEnoughStock naming what
    is short; then nothing changes.
    """
    shipment = _described(shipping, by)
    holding = lock_holding(line.reservation for line in shipping.lines if line.reservation)
    lots = _lock_open_lots(shipping)
    takes = _named(shipping, lots)
    held = _held(shipping, lots, holding)
    _fill_up(shipping, lots, takes)
    shipment.code = next_code("S")
    shipment.save()
    origin = Origin(
        reference=shipment.document,
        by=by,
        note=shipment.customer_name,
        on=shipment.shipped_on,
        day_field="shipped_on",
    )
    changes = [
        (pk, taking(Verb.SHIP, balance_of(lots[pk]), amount)) for pk, amount in takes.items()
    ]
    post(changes, lots=lots, origin=origin)
    for pk, amounts in held.items():
        changes += take_held(holding[pk], amounts, lots=lots, origin=origin)
    ShipmentLine.objects.bulk_create(_lines(shipment, changes))
    return shipment


def _lines(shipment: Shipment, changes: Iterable[tuple[int, Change]]) -> list[ShipmentLine]:
    """One line for each lot, with all that left of it."""
    lines: dict[int, ShipmentLine] = {}
    for pk, change in changes:
        line = lines.setdefault(
            pk,
            ShipmentLine(shipment=shipment, position=len(lines) + 1, lot_id=pk, amount=0, cost=0),
        )
        line.amount -= change.on_hand
        line.cost -= change.cost
    return list(lines.values())


def _described(shipping: Shipping, by: By) -> Shipment:
    """The row to save, or a refusal that names all that is wrong with what was written."""
    shipment = Shipment(
        customer_name=shipping.customer_name.strip(),
        reference=shipping.reference.strip(),
        note=shipping.note.strip(),
        shipped_on=shipping.shipped_on,
        by=by,
    )
    faults = Faults()
    take_field_faults(faults, shipment, only=_FIELDS)
    take_day_outside(faults, "A shipment", shipping.shipped_on, "shipped_on")
    if not shipping.lines:
        faults.add("no-lines", "Say what is shipped.", "lines")
    for index, line in enumerate(shipping.lines):
        if bool(line.lot) == bool(line.material):
            faults.add("lot-or-material", "Name a lot or a material.", f"lines.{index}")
        if line.reservation and not line.lot:
            faults.add("lot-missing", "Name the lot that is reserved.", f"lines.{index}.lot")
        if line.amount <= 0:
            faults.add("not-positive", "Ship more than nothing.", f"lines.{index}.amount")
    faults.raise_if_any(ShipmentRefusal)
    return shipment


def _lock_open_lots(shipping: Shipping) -> dict[int, Lot]:
    """Lock the lots named and, of materials named, all that have something open. One query."""
    codes = [line.lot for line in shipping.lines if line.lot]
    materials = [line.material for line in shipping.lines if line.material]
    wanted = Q(code__in=codes) | Q(
        material__code__in=materials, state=LotState.RELEASED.value, on_hand__gt=F("reserved")
    )
    lots = Lot.objects.select_for_update(of=("self",)).select_related("material")
    return {lot.pk: lot for lot in lots.filter(wanted).order_by("pk")}


def _named(shipping: Shipping, lots: Mapping[int, Lot]) -> dict[int, int]:
    """What the named lots give; refuses with all that stands in the way."""
    by_code = {lot.code: lot for lot in lots.values()}
    takes: dict[int, int] = defaultdict(int)
    unknown, faults = Faults(), Faults()
    for index, line in enumerate(shipping.lines):
        if not line.lot:
            continue
        field = f"lines.{index}.lot"
        lot = by_code.get(line.lot)
        if lot is None:
            unknown.add(NotFound.code, f"There is no lot {line.lot}.", field)
            continue
        if line.reservation:
            continue
        takes[lot.pk] += line.amount
        if why := _unusable(lot, takes[lot.pk], on=shipping.shipped_on):
            faults.add(LotNotUsable.code, why, field, lot=lot.code)
    unknown.raise_if_any(NotFound)
    faults.raise_if_any(LotNotUsable)
    return takes


def _held(
    shipping: Shipping, lots: Mapping[int, Lot], holding: Mapping[int, Holdings]
) -> dict[int, dict[int, int]]:
    """What each reservation gives: lot id -> pieces; refuses with all that stands in the way."""
    by_code = {lot.code: lot for lot in lots.values()}
    held: dict[int, dict[int, int]] = {}
    faults = Faults()
    for index, line in enumerate(shipping.lines):
        if line.reservation is None:
            continue
        lot, amounts = by_code[line.lot], held.setdefault(line.reservation, {})
        amounts[lot.pk] = amounts.get(lot.pk, 0) + line.amount
        there = holding[line.reservation].held_of(lot.pk)
        why = _unusable(lot, 0, on=shipping.shipped_on)
        if not why and amounts[lot.pk] > there:
            why = f"Of lot {lot.code} {there} are held, less than the {amounts[lot.pk]} to ship."
        if why:
            faults.add(LotNotUsable.code, why, f"lines.{index}.lot", lot=lot.code)
    faults.raise_if_any(LotNotUsable)
    return held


def _unusable(lot: Lot, amount: int, *, on: date) -> str:
    if lot.material.kind != MaterialKind.BAR.value:
        return f"Lot {lot.code} holds no bars."
    if lot.state != LotState.RELEASED.value:
        return f"Lot {lot.code} is not released ({lot.state})."
    if is_expired(lot.best_before, on=on):
        return f"Lot {lot.code} has passed its best before ({lot.best_before})."
    available = balance_of(lot).available
    if available < amount:
        return f"Lot {lot.code} has {available} available, less than the {amount} to ship."
    return ""


def _fill_up(shipping: Shipping, lots: Mapping[int, Lot], takes: dict[int, int]) -> None:
    """Add to `takes` what materials ask for, the longest cured lots first."""
    needs = _needs_by_material(shipping)
    short: dict[int, tuple[int, int]] = {}
    on, days = shipping.shipped_on, days_of(lots.values())
    there = [lot for lot in lots.values() if not broken_day_rule(Verb.SHIP, days[lot.pk], on=on)]
    oldest = sorted(there, key=lambda lot: (lot.received_on, lot.pk))
    for material, need in needs.items():
        left = need
        for lot in oldest:
            if lot.material_id != material or _unusable(lot, 0, on=on):
                continue
            amount = min(left, balance_of(lot).available - takes.get(lot.pk, 0))
            if amount > 0:
                takes[lot.pk] = takes.get(lot.pk, 0) + amount
                left -= amount
        if left:
            short[material] = (need, need - left)
    if short:
        raise shortage_refusal(short)


def _needs_by_material(shipping: Shipping) -> dict[int, int]:
    named = {line.material for line in shipping.lines if line.material}
    known = Material.objects.in_bulk(named, field_name="code") if named else {}
    needs: dict[int, int] = defaultdict(int)
    unknown, faults = Faults(), Faults()
    for index, line in enumerate(shipping.lines):
        field = f"lines.{index}.material"
        if not line.material:
            continue
        if line.material not in known:
            unknown.add(NotFound.code, f"There is no material {line.material}.", field)
        elif known[line.material].kind != MaterialKind.BAR.value:
            faults.add("no-bars", f"{known[line.material].name} is no bar of soap.", field)
        else:
            needs[known[line.material].pk] += line.amount
    unknown.raise_if_any(NotFound)
    faults.raise_if_any(ShipmentRefusal)
    return needs
