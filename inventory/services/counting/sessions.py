"""Count sessions: open a sheet, enter what was found; `count_posting` posts the differences."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from django.db import transaction
from django.db.models import Exists, OuterRef
from django.utils import timezone

from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.counting.session import SessionState
from inventory.domain.stock.ledger import Verb
from inventory.errors import SessionClosed
from inventory.models.counting.counts import CountLine, CountSession, StockCount
from inventory.models.stock.lots import Lot
from inventory.services.days import take_day_outside, take_lot_day
from inventory.services.stock.certificates import weigh_from
from inventory.services.stock.locations import location_by_code
from studio.foundation.doers import By
from studio.foundation.errors import Faults, InvalidInput, NotFound, Refusal
from studio.foundation.units.quantity import Quantity
from studio.work.cleaning import take_field_faults
from studio.work.numbering import next_code

if TYPE_CHECKING:
    from django.db.models import QuerySet

#: A sheet that one person can walk; more lots are counted in several sessions.
MOST_LINES = 2_000


@dataclass(frozen=True, slots=True, kw_only=True)
class NewSession:
    """What to count: all lots with stock in a place, of some kinds or everywhere, or lots by code.

    A place and kinds together mean what of these kinds stands in the place. With `not_since` what
    was counted on that day or later is left out.
    """

    counted_on: date
    location: str = ""
    kinds: Sequence[str] = ()
    everywhere: bool = False
    not_since: date | None = None
    lots: Sequence[str] = ()
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundLot:
    """What was found of a lot, in any unit that fits, and why it may differ."""

    lot: str
    found: Quantity
    reason: str = ""


@transaction.atomic
def open_session(new: NewSession, *, by: By = None) -> CountSession:
    """Open a count over what is in stock, or a list of lots.

    Its lines are the lots that are there now and were on that day, by material and age. Raises
    InvalidInput with every fault, NotFound.
    """
    session = CountSession(counted_on=new.counted_on, note=new.note.strip(), by=by)
    faults = Faults()
    take_field_faults(faults, session, only=("note",))
    take_day_outside(faults, "A count", new.counted_on, "counted_on")
    if bool(new.location or new.kinds or new.everywhere) == bool(new.lots):
        faults.add(
            "place-or-lots",
            "Name either the lots to count, or a location, kinds of material, or everywhere.",
        )
    if strange := sorted(set(new.kinds) - {kind.value for kind in MaterialKind}):
        faults.add("invalid-choice", f"There is no kind {strange[0]}.", "kinds")
    faults.raise_if_any(InvalidInput)
    if new.location:
        session.location = location_by_code(new.location)
    lots = _named(new) if new.lots else list(_in_stock(new, session))
    if not 1 <= len(lots) <= MOST_LINES:
        raise InvalidInput(
            f"There are {len(lots)} lots to count; a session has 1 to {MOST_LINES}.",
            field="lots" if new.lots else "location",
        )
    session.code = next_code("C")
    session.save()
    lots.sort(key=lambda lot: (lot.material_id, lot.received_on, lot.pk))
    CountLine.objects.bulk_create(
        CountLine(session=session, position=position, lot=lot)
        for position, lot in enumerate(lots, 1)
    )
    return session


@transaction.atomic
def enter_finds(code: str, finds: Sequence[FoundLot], *, by: By = None) -> CountSession:
    """Keep what was found, with what the books hold at this moment; a recount takes its place.

    Volumes are weighed by the lot's own density. Raises InvalidInput with every fault,
    SessionClosed, NotFound.
    """
    session = lock_session(code)
    if not finds:
        raise InvalidInput("Say what was found.", field="lines")
    lines = {
        line.lot.code: line
        for line in session.lines.select_related("lot__material").filter(
            lot__code__in=[find.lot for find in finds]
        )
    }
    faults = Faults()
    counted: dict[str, CountLine] = {}
    for index, find in enumerate(finds):
        line = lines.get(find.lot)
        if line is None or find.lot in counted:
            words = "stands twice here" if line else f"is not on the sheet of {code}"
            faults.add("not-on-sheet", f"Lot {find.lot} {words}.", f"lines.{index}.lot")
            continue
        counted[find.lot] = line
        _enter(faults, line, find, index=index)
        line.counted_at, line.counted_by = timezone.now(), by
    faults.raise_if_any(InvalidInput)
    CountLine.objects.bulk_update(
        counted.values(), ["found", "expected", "reason", "counted_at", "counted_by"]
    )
    return session


@transaction.atomic
def cancel_session(code: str, *, by: By = None) -> CountSession:
    """Give a count up: what was found stays readable, nothing is posted. Raises SessionClosed."""
    session = lock_session(code)
    close(session, SessionState.CANCELLED, by=by)
    return session


def lock_session(code: str) -> CountSession:
    """Lock a session that is still open. One query. Raises NotFound, SessionClosed."""
    try:
        session = CountSession.objects.select_for_update().get(code=code)
    except CountSession.DoesNotExist:
        raise NotFound(f"There is no count session {code}.", field="session") from None
    if session.state != SessionState.OPEN.value:
        raise SessionClosed(f"Count session {code} is {session.state}.", field="session")
    return session


def close(session: CountSession, state: SessionState, *, by: By) -> None:
    """End a locked session. One query."""
    session.state, session.closed_at, session.closed_by = state.value, timezone.now(), by
    session.save(update_fields=["state", "closed_at", "closed_by"])


def _in_stock(new: NewSession, session: CountSession) -> "QuerySet[Lot]":
    lots = Lot.objects.filter(on_hand__gt=0, received_on__lte=new.counted_on)
    if session.location is not None:
        lots = lots.filter(location=session.location)
    if new.kinds:
        lots = lots.filter(material__kind__in=new.kinds)
    if new.not_since is not None:
        counted = StockCount.objects.filter(lot=OuterRef("pk"), counted_on__gte=new.not_since)
        lots = lots.filter(~Exists(counted))
    return lots


def _named(new: NewSession) -> list[Lot]:
    lots = {lot.code: lot for lot in Lot.objects.filter(code__in=new.lots)}
    unknown, faults = Faults(), Faults()
    for index, code in enumerate(new.lots):
        if code not in lots:
            unknown.add(NotFound.code, f"There is no lot {code}.", f"lots.{index}")
        elif code in new.lots[:index]:
            faults.add("lot-twice", f"Lot {code} stands twice here.", f"lots.{index}")
        else:
            take_lot_day(faults, lots[code], Verb.COUNT, on=new.counted_on, field=f"lots.{index}")
    unknown.raise_if_any(NotFound)
    faults.raise_if_any(InvalidInput)
    return list(lots.values())


def _enter(faults: Faults, line: CountLine, find: FoundLot, *, index: int) -> None:
    line.reason = find.reason.strip()
    take_field_faults(faults, line, only=("reason",), under=f"lines.{index}")
    try:
        found = weigh_from(line.lot, find.found)
    except Refusal as refusal:
        faults.take(refusal, under=f"lines.{index}.found")
        return
    if found < 0:
        faults.add("negative", "What was found cannot be below zero.", f"lines.{index}.found")
        return
    line.found, line.expected = found, line.lot.on_hand
