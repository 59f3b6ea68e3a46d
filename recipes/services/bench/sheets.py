"""The batch sheet: what to weigh by stage in bench order, from which lots, with the cautions."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.stock.lots import is_good
from inventory.queries.stock.documents import takes_for
from inventory.queries.stock.free_lots import free_lots, unsafe_lots
from inventory.queries.stock.holds import only_unsafe, unsafe_as_reserved
from recipes.domain.bench.cautions import Caution
from recipes.domain.bench.lye_steps import LyeToMix, lye_steps, rinse_water, tempering_steps
from recipes.domain.chemistry.safety import SafetyCheck
from recipes.domain.formulas.formula import Notice, Stage
from recipes.domain.scales import Scales
from recipes.domain.scaling.weighed import TOO_FINE, alkali_between_steps, weighed_notices
from recipes.models.bench.batches import Batch, BatchLine, BatchState, Weighing
from recipes.queries.bench.batches import batch_by_code, by_position, standing_weighings
from recipes.services.bench.as_made import ActualLine, Actuals, actuals_for, held_beside
from recipes.services.bench.remaking import deal
from recipes.services.bench.shelf import (
    BatchShelf,
    Held,
    batch_rows,
    cautions_of,
    held_lots,
    shelf_for,
)
from recipes.services.scaling.portions import Portions, portions_of

Part = BatchLine.Part


@dataclass(frozen=True, slots=True)
class LotAmount:
    """So much out of one lot, in stock units."""

    lot: str
    amount: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetLine:
    """One thing to weigh or count, with the lots to take it from; `short` has no lot.

    `amount` is what was weighed, else the target; `actual` holds target, reading and tolerance.
    """

    row: BatchLine
    amount: int
    lots: tuple[LotAmount, ...]
    short: int
    actual: ActualLine


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A batch on paper: what to weigh by stage in bench order, the lye, and the cautions.

    What is lye-heavy as it stands, holds no alkali, or names another one has no `steps` to mix
    lye by.
    `tempering` says how liquids with protein come in before the lye. `safety` holds the figures
    with the held lots' own values; None unless the batch is reserved soap.
    """

    batch: Batch
    on: date
    stages: tuple[tuple[Stage, tuple[SheetLine, ...]], ...]
    lye: LyeToMix
    steps: tuple[str, ...]
    tempering: tuple[str, ...]
    portions: Portions
    actuals: Actuals
    cautions: tuple[Caution, ...]

    @property
    def safety(self) -> SafetyCheck | None:
        """Superfat and fragrance shares by what is held and weighed."""
        return self.actuals.safety

    @property
    def warnings(self) -> tuple[str, ...]:
        """What has to be read before anything is weighed: that it must not be made as it stands,
        and what the lots make other than planned.
        """
        safety = self.safety
        unsafe = (self.actuals.unsafe,) if self.actuals.unsafe else ()
        notices = (
            *(safety.notices if safety else ()),
            *self.actuals.of_lots,
            *self.of_alkali,
            *self.of_scales,
        )
        return (*unsafe, *(notice.message for notice in notices))

    @property
    def of_scales(self) -> tuple[Notice, ...]:
        """What of it is less than its scale can show; each line says on which it is weighed."""
        rows = [line.row for line in self.lines if line.actual.weighed is not None]
        masses = [(row.material.name, f"lines.{row.position}", row.planned) for row in rows]
        notices = weighed_notices(masses, self.actuals.scales)
        return tuple(notice for notice in notices if notice.code == TOO_FINE)

    @property
    def of_alkali(self) -> tuple[Notice, ...]:
        """How little alkali to weigh where the scale of today is coarser than the plan's.

        Of what is not weighed yet; none once it is poured.
        """
        if self.batch.poured_on is not None:
            return ()
        rows = [line.row for line in self.lines if line.actual.actual is None and _is_alkali(line)]
        masses = [(row.material.name, f"lines.{row.position}", row.planned) for row in rows]
        return tuple(alkali_between_steps(masses, self.actuals.scales))

    @property
    def lines(self) -> tuple[SheetLine, ...]:
        """All lines in bench order."""
        return tuple(line for _, lines in self.stages for line in lines)

    def of(self, stage: Stage) -> tuple[SheetLine, ...]:
        """The lines of one stage."""
        return tuple(line for line in self.lines if line.row.stage == stage.value)


def sheet_of(code: str) -> Sheet:
    """The sheet to weigh a batch by, with lots held, taken or next in line. Raises NotFound.

    A fixed number of queries. The lots of an unreserved batch are a preview, and not held.
    """
    batch = batch_by_code(code)
    rows = batch_rows(batch)
    held = held_lots(batch)
    # Once it is poured, the books say what was taken.
    under_way = batch.state == BatchState.RESERVED
    weighed = by_position(standing_weighings(batch.pk))
    shelf = shelf_for(batch, rows, held, weighed)
    actuals = actuals_for(batch, rows, held, weighed)
    lye = _lye(batch, rows, actuals.scales)
    return Sheet(
        batch=batch,
        on=shelf.on,
        stages=_stages(actuals, _pool(batch, held, weighed, shelf), weighed if under_way else {}),
        lye=lye,
        steps=_steps(lye, actuals),
        tempering=_tempering(batch, rows),
        portions=portions_of(batch),
        actuals=actuals,
        cautions=cautions_of(batch),
    )


def _pool(
    batch: Batch, held: Held, weighed: Mapping[int, Sequence[Weighing]], shelf: BatchShelf
) -> dict[int, list[tuple[str, int]]]:
    """By material, what the rows are dealt: lots taken already, lots held, lots next in line."""
    pool: dict[int, list[tuple[str, int]]] = defaultdict(list)
    if batch.poured_on is not None:
        for take in takes_for(batch.holder):
            pool[take.material_id].append((take.lot_code, take.amount))
    for pk, some in held_beside(held, weighed).items():
        pool[pk] += [(lot.code, amount) for lot, amount in some]
    for line in shelf.lines:
        pool[line.material.pk] += [(pick.lot.code, pick.amount) for pick in line.shelf.picks]
    return pool


def _stages(
    actuals: Actuals,
    pool: dict[int, list[tuple[str, int]]],
    weighed: Mapping[int, Sequence[Weighing]],
) -> tuple[tuple[Stage, tuple[SheetLine, ...]], ...]:
    by_stage: dict[Stage, list[SheetLine]] = defaultdict(list)
    for line in actuals.lines:
        row = line.row
        amount = row.planned if line.actual is None else line.actual
        if row.position in weighed:
            found = [(one.lot.code, one.amount) for one in weighed[row.position] if one.lot]
        else:
            found = deal(pool[row.material_id], amount)
        by_stage[Stage(row.stage)].append(
            SheetLine(
                row=row,
                amount=amount,
                lots=tuple(LotAmount(lot, part) for lot, part in found),
                short=amount - sum(part for _, part in found),
                actual=line,
            )
        )
    # In the order of hands, whatever the recipe says: nothing is poured onto alkali.
    by_stage[Stage.LYE].sort(key=_is_alkali)
    return tuple((stage, tuple(by_stage[stage])) for stage in Stage if by_stage[stage])


def _is_alkali(line: SheetLine) -> bool:
    stirred_in = line.row.part in (Part.NAOH, Part.KOH, Part.MASTERBATCH)
    return stirred_in or line.row.material.kind == MaterialKind.ALKALI


def _lye(batch: Batch, rows: Sequence[BatchLine], scales: Scales) -> LyeToMix:
    parts = {row.part: row.planned if row.actual is None else row.actual for row in rows}
    naoh, koh = parts.get(Part.NAOH, 0), parts.get(Part.KOH, 0)
    stored, water = parts.get(Part.MASTERBATCH, 0), parts.get(Part.WATER, 0)
    return LyeToMix(
        naoh_ng=naoh,
        koh_ng=koh,
        masterbatch_ng=stored,
        water_ng=water,
        rinse_ng=rinse_water(
            water,
            share=batch.version.rinse_share,
            dry_ng=naoh + koh,
            stored_ng=stored,
            scales=scales,
        ),
        liquids=[
            row.material.name
            for row in rows
            if row.part == Part.LINE and row.stage == Stage.LYE.value and row.material.water_share
        ],
        pour_temperature_c=batch.version.pour_temperature_c,
    )


def _steps(lye: LyeToMix, actuals: Actuals) -> tuple[str, ...]:
    if actuals.mixes_no_lye or not (lye.naoh_ng or lye.koh_ng or lye.masterbatch_ng):
        return ()
    return lye_steps(lye)


def _tempering(batch: Batch, rows: Sequence[BatchLine]) -> tuple[str, ...]:
    names = [
        row.material.name
        for row in rows
        if row.material.tempering and row.stage not in (Stage.LYE.value, Stage.PACK.value)
    ]
    return tempering_steps(
        list(dict.fromkeys(names)), temperature_c=batch.version.pour_temperature_c
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenLot:
    """A lot that a line may take from; `open` is how much of it (stock units).

    `unsafe` says what it is held for where it is unsafe soap that an owner may name.
    """

    code: str
    open: int
    is_held: bool
    unsafe: str = ""


#: By material (id), the lots of it by their codes.
Pool = dict[int, dict[str, OpenLot]]


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchLots:
    """By position, what each line may be taken from. `unusable` are held lots, blocked or past
    their best before, that must not be used; `rebatched` are unsafe lots that an owner chose for
    this batch."""

    by_position: Mapping[int, Sequence[OpenLot]]
    unusable: frozenset[str]
    rebatched: frozenset[str]

    def of(self, position: int) -> Sequence[OpenLot]:
        """The lots of one line."""
        return self.by_position.get(position, ())


def bench_lots(sheet: Sheet, *, on: date, for_owner: bool = False) -> BenchLots:
    """The lots of a reserved batch's lines, as its sheet stands. Two queries, a few more where a
    held lot is blocked, and two `for_owner`, who may name unsafe soap for a rebatch.

    What another line already took of a lot is not open; what the line itself took is.
    """
    held = held_lots(sheet.batch)
    rebatched = _rebatched(sheet.batch, held)
    unusable = _unusable(held, on) - rebatched
    lines = [line.actual for line in sheet.lines]
    materials = {line.row.material_id for line in lines}
    weighed = {line.row.position: line.weighings for line in lines if line.weighings}
    pool: Pool = defaultdict(dict)
    unsafe = _found_unsafe(held) if for_owner else {}
    for pk, some in held_beside(held, weighed).items():
        for lot, amount in some:
            _add(pool[pk], lot.code, amount, is_held=True, unsafe=unsafe.get(lot.code, ""))
    _add_free(pool, materials, on=on, for_owner=for_owner)
    found: dict[int, Sequence[OpenLot]] = {}
    for line in lines:
        lots = dict(pool[line.row.material_id])
        for one in line.weighings:
            if one.lot is not None:
                _add(lots, one.lot.code, one.amount, is_held=True)
        found[line.row.position] = [
            each for each in lots.values() if each.unsafe or each.code not in unusable
        ]
    return BenchLots(by_position=found, unusable=unusable, rebatched=rebatched)


def _add_free(pool: Pool, materials: Iterable[int], *, on: date, for_owner: bool) -> None:
    """What nobody holds, and `for_owner` what of it is unsafe soap."""
    for free in free_lots(materials, on=on):
        _add(pool[free.material], free.code, free.free, is_held=False)
    for lot in unsafe_lots(materials, on=on) if for_owner else ():
        _add(pool[lot.material], lot.code, lot.free, is_held=False, unsafe=lot.reason)


def _add(
    lots: dict[str, OpenLot], code: str, amount: int, *, is_held: bool, unsafe: str = ""
) -> None:
    there = lots.get(code)
    lots[code] = OpenLot(
        code=code,
        open=amount + (there.open if there else 0),
        is_held=is_held or (there is not None and there.is_held),
        unsafe=unsafe or (there.unsafe if there else ""),
    )


def _found_unsafe(held: Held) -> dict[str, str]:
    """By code, what held lots that are unsafe soap, and nothing else, are held for."""
    lots = [lot for some in held.values() for lot, _ in some]
    unsafe = only_unsafe(lots)
    return {lot.code: lot.state_reason for lot in lots if lot.pk in unsafe}


def _rebatched(batch: Batch, held: Held) -> frozenset[str]:
    """The codes of held lots that are unsafe soap, and were so when an owner chose them."""
    if batch.reservation is None:
        return frozenset()
    lots = [lot for some in held.values() for lot, _ in some]
    chosen = unsafe_as_reserved(lots, batch.reservation.pk)
    return frozenset(lot.code for lot in lots if lot.pk in chosen)


def _unusable(held: Held, on: date) -> frozenset[str]:
    return frozenset(
        lot.code for some in held.values() for lot, _ in some if not is_good(lot, on=on)
    )
