"""Before the pour: what the scale shows is kept line by line, and the lots follow."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, fields, replace
from decimal import Decimal
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.errors import LotNotUsable, NotForYou
from inventory.queries.stock.candidates import ChosenLot
from inventory.queries.stock.documents import held_for
from inventory.services.stock.reholding import rehold
from recipes.domain.weighing import check_weight
from recipes.errors import BatchConflict
from recipes.models.bench.batches import Batch, BatchLine, BatchState, Weighing
from recipes.queries.bench.batches import standing_weighings
from recipes.services.bench.batches import expect, lock_batch, touch
from recipes.services.bench.remaking import deal
from studio.foundation.doers import By
from studio.foundation.errors import Faults, InvalidInput, NotFound

if TYPE_CHECKING:
    from inventory.models.stock.reservations import Reservation

#: Between freezing and boiling water; a slip of the pen is outside.
COLDEST, HOTTEST = Decimal(0), Decimal(110)
LONGEST_TRACE = 24 * 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What was weighed or counted of one line, in stock units, and out of which lots.

    Without lots it came from those held; a single lot without an amount gave all of it. An amount
    of 0 says that the line was left out. `written` is what the person wrote ("1 lb 4 oz").
    """

    position: int
    amount: int
    lots: Sequence[ChosenLot] = ()
    written: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchRecord:
    """What else is kept of a pour; None leaves what was kept before. Masses in ng."""

    oil_temperature_c: Decimal | None = None
    lye_temperature_c: Decimal | None = None
    poured_temperature_c: Decimal | None = None
    trace_minutes: int | None = None
    poured_mass: int | None = None
    note: str = ""


@transaction.atomic
def weigh_line(code: str, reading: Reading, *, by: By = None) -> Batch:
    """Keep a reading of a reserved batch; a line weighed before is weighed anew.

    The reservation follows: it holds what was weighed out of each lot, gives back what a lot was
    not needed for, and still holds what other lines need of the material. The older reading stays
    in the record, set aside. Raises BatchConflict unless reserved, InvalidInput, NotFound,
    LotNotUsable when a lot is blocked or has too little, NotForYou for unsafe soap that no owner
    chose for it; then nothing changes.
    """
    batch, rows = lock_batch(code)
    expect(batch, BatchState.RESERVED, "weighed")
    reservation = open_reservation(batch)
    row = _row(rows, reading)
    taken, wanted = _moved(rows, row, reading, reservation.pk)
    with _told_of_lots():
        lots = rehold(
            reservation.pk,
            row.material_id,
            wanted,
            on=timezone.localdate(),
            by=by,
            note=f"weighed, line {row.position}",
            named=bool(reading.lots),
        )
    _keep(
        row,
        reading,
        [(lots[code].pk, amount) for code, amount in taken.items()],
        by=by,
    )
    touch(batch)
    return batch


def _moved(
    rows: Sequence[BatchLine], row: BatchLine, reading: Reading, reservation_id: int
) -> tuple[dict[str, int], dict[str, int]]:
    """What the reading took, by lot, and what is then to be held of the material. Two queries."""
    standing = standing_weighings(row.batch_id)
    others = _others(standing, row)
    held = {
        take.lot_code: take.amount
        for take in held_for(reservation_id)
        if take.material_id == row.material_id
    }
    free = _less(held, others)
    taken = _taken(reading, free)
    return taken, _sum(others, taken, _rest(rows, row, standing, _less(free, taken)))


@transaction.atomic
def record_bench(code: str, record: BenchRecord, *, by: By = None) -> Batch:
    """Keep temperatures, trace time, the batter's weight and notes of a batch.

    Before the pour, or after it until the cut; the batter's weight only before, because the pour
    makes a lot of it. Raises BatchConflict, InvalidInput with every fault.
    """
    batch, _ = lock_batch(code)
    if batch.state not in (BatchState.RESERVED, BatchState.POURED):
        raise BatchConflict(
            f"Batch {batch.code} is {batch.state}; the bench is recorded from the reservation "
            "until the cut.",
            field="batch",
        )
    _check_record(batch, record)
    given = [
        field.name
        for field in fields(record)
        if field.name != "note" and getattr(record, field.name) is not None
    ]
    for name in given:
        setattr(batch, name, getattr(record, name))
    batch.note = "\n".join(part for part in (batch.note, record.note) if part)
    touch(batch, *given, "note")
    return batch


def open_reservation(batch: Batch) -> "Reservation":
    """The open reservation of a batch. Raises BatchConflict when it has ended."""
    if batch.reservation is None or batch.reservation.state != "open":
        raise BatchConflict(
            f"The reservation of batch {batch.code} has ended; reserve it again.", field="batch"
        )
    return batch.reservation


@contextmanager
def _told_of_lots() -> Iterator[None]:
    """What is wrong with a lot is told of the field that names the lots."""
    try:
        yield
    except (LotNotUsable, NotForYou, NotFound) as refusal:
        faults = [replace(fault, field="lots") for fault in refusal.faults]
        raise type(refusal)(faults=faults) from refusal


def _row(rows: Sequence[BatchLine], reading: Reading) -> BatchLine:
    row = next((row for row in rows if row.position == reading.position), None)
    if row is None or row.is_packing:
        raise InvalidInput(
            f"The batch weighs no line {reading.position} before the pour.", field="position"
        )
    if reading.amount < 0:
        raise InvalidInput("A weight cannot be below zero.", field="amount")
    return row


def _others(standing: Sequence[Weighing], row: BatchLine) -> dict[str, int]:
    """What other lines took of the row's material, by lot."""
    return _sum(
        *(
            {weighing.lot.code: weighing.amount}
            for weighing in standing
            if weighing.lot is not None
            and weighing.line_id != row.pk
            and weighing.lot.material_id == row.material_id
        )
    )


def _taken(reading: Reading, free: Mapping[str, int]) -> dict[str, int]:
    """Out of which lots the reading came: as named, else from those held, the last one the most."""
    if not reading.amount:
        return {}
    if reading.lots:
        return _named(reading)
    if not free:
        raise InvalidInput(
            "No lot of it is held any more; say which lot it came from.", field="lots"
        )
    taken = dict(deal(list(free.items()), reading.amount))
    if over := reading.amount - sum(taken.values()):
        last = list(free)[-1]
        taken[last] = taken.get(last, 0) + over
    return {code: amount for code, amount in taken.items() if amount}


def _named(reading: Reading) -> dict[str, int]:
    faults = Faults()
    codes = [lot.code for lot in reading.lots]
    if len(set(codes)) < len(codes):
        faults.add("lot-twice", "Each lot is named once.", "lots")
    amounts = {lot.code: lot.amount for lot in reading.lots}
    if len(amounts) == 1 and reading.lots[0].amount is None:
        return {codes[0]: reading.amount}
    for index, lot in enumerate(reading.lots):
        if lot.amount is None or lot.amount <= 0:
            faults.add("amount-missing", f"How much of {lot.code}?", f"lots.{index}.amount")
    if not faults and sum(amount or 0 for amount in amounts.values()) != reading.amount:
        faults.add(
            "lots-differ", "The amounts of the lots must add up to what was weighed.", "lots"
        )
    faults.raise_if_any(InvalidInput)
    return {code: amount or 0 for code, amount in amounts.items()}


def _rest(
    rows: Sequence[BatchLine],
    row: BatchLine,
    standing: Sequence[Weighing],
    free: Mapping[str, int],
) -> dict[str, int]:
    """What lines of the same material that are not weighed yet still need of the lots held."""
    weighed = {weighing.line_id for weighing in standing} | {row.pk}
    needed = sum(
        other.planned
        for other in rows
        if other.material_id == row.material_id and other.pk not in weighed
    )
    return dict(deal(list(free.items()), needed))


def _keep(
    row: BatchLine,
    reading: Reading,
    taken: Sequence[tuple[int, int]],
    *,
    by: By,
) -> None:
    at = timezone.now()
    Weighing.objects.filter(line=row, set_aside_at__isnull=True).update(
        set_aside_at=at, set_aside_by=by
    )
    nothing: Sequence[tuple[int | None, int]] = [(None, 0)]
    Weighing.objects.bulk_create(
        Weighing(
            line=row,
            lot_id=lot_id,
            amount=amount,
            written=reading.written[:64],
            note=reading.note[:200],
            weighed_at=at,
            by=by,
        )
        for lot_id, amount in (taken or nothing)
    )


def _check_record(batch: Batch, record: BenchRecord) -> None:
    faults = Faults()
    for name in ("oil_temperature_c", "lye_temperature_c", "poured_temperature_c"):
        value = getattr(record, name)
        if value is not None and not COLDEST <= value <= HOTTEST:
            faults.add(
                "temperature-outside", f"From {COLDEST} to {HOTTEST} °C.", name.removesuffix("_c")
            )
    if record.trace_minutes is not None and not 0 <= record.trace_minutes <= LONGEST_TRACE:
        faults.add("minutes-outside", "From 0 minutes to a day.", "trace_minutes")
    check_weight(faults, record.poured_mass, "poured", least=1)
    if record.poured_mass is not None and batch.state == BatchState.POURED:
        faults.add("poured-already", "Its lot is made; count the lot to correct it.", "poured")
    faults.raise_if_any(InvalidInput)


def _less(amounts: Mapping[str, int], taken: Mapping[str, int]) -> dict[str, int]:
    """What is left of each lot, in order; never below zero. Lots of which nothing is left stay."""
    return {code: max(amount - taken.get(code, 0), 0) for code, amount in amounts.items()}


def _sum(*parts: Mapping[str, int]) -> dict[str, int]:
    total: dict[str, int] = {}
    for part in parts:
        for code, amount in part.items():
            total[code] = total.get(code, 0) + amount
    return total
