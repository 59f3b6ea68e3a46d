"""A batch as it was really weighed: its superfat and lye, and how far each line is off."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from inventory.domain.catalog.materials import MaterialKind
from recipes.domain.bench.as_made import (
    NO_ALKALI,
    NO_FATS,
    asked_about,
    judged,
    lye_concentration,
    words_of,
)
from recipes.domain.bench.deviations import Deviation, WeighedLine, deviations, tolerance
from recipes.domain.chemistry.lye import is_lye_heavy
from recipes.domain.chemistry.safety import SafetyCheck
from recipes.domain.formulas.formula import Notice
from recipes.domain.scales import ONE_GRAM, OnScale, Scales
from recipes.errors import LyeHeavy
from recipes.models.bench.batches import Batch, BatchLine, BatchState, Weighing
from recipes.queries.bench.batches import batch_by_code, by_position, standing_weighings
from recipes.queries.formulas.slots import OTHER_ALKALI, other_alkali
from recipes.queries.scales.scales import scales_for
from recipes.services.bench.held_safety import only_whole, told_of_lots
from recipes.services.bench.remaking import deal, dealt_values, scaled_from
from recipes.services.bench.shelf import Held, batch_rows, held_lots
from recipes.services.chemistry.worst_superfat import still_to_accept
from studio.foundation.errors import Fault

if TYPE_CHECKING:
    from inventory.models.stock.lots import Lot

_ALKALI = frozenset({BatchLine.Part.NAOH, BatchLine.Part.KOH, BatchLine.Part.MASTERBATCH})
#: Faults of the lye itself: as long as they stand, none is mixed.
LYE_FAULTS = frozenset({LyeHeavy.code, NO_ALKALI, NO_FATS, OTHER_ALKALI})
Pool = dict[int, list[tuple["Lot", int]]]


@dataclass(frozen=True, slots=True, kw_only=True)
class ActualLine:
    """A line with what was weighed of it, in stock units; None until then.

    `weighed` says on which scale it is weighed; None for pieces. `deviation` is None where nothing
    differs. `weighings` are the readings that stand.
    """

    row: BatchLine
    actual: int | None
    weighed: OnScale | None
    tolerance: int
    deviation: Deviation | None
    weighings: tuple[Weighing, ...]

    @property
    def step(self) -> int:
        """The smallest step that its scale shows; 0 for pieces."""
        return self.weighed.step_ng if self.weighed else 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Actuals:
    """What was really made so far. Lines not weighed yet count as planned in the figures.

    `safety` is None unless the batch is reserved soap that holds fat; `superfat` and
    `lye_concentration` are None before there is anything to go by. `complete` says that every line
    of the soap was weighed; `faults` why it must not be poured as it stands, or would be blocked
    (none: it may); `of_lots` what the certificates of its lots state that is unusual, and how low
    they may make its superfat where nobody accepted that, before it is poured; `scales` what it is
    weighed on today.
    """

    batch: Batch
    lines: tuple[ActualLine, ...]
    superfat: Decimal | None
    lye_concentration: Decimal | None
    safety: SafetyCheck | None
    faults: Sequence[Fault] = ()
    of_lots: Sequence[Notice] = ()
    scales: Scales = ONE_GRAM

    @property
    def unsafe(self) -> str:
        """The faults in words; empty where it may be poured."""
        return words_of(self.faults)

    @property
    def mixes_no_lye(self) -> bool:
        """Whether no lye is to be mixed for it as it stands."""
        return any(each.code in LYE_FAULTS for each in self.faults)

    @property
    def names_other_alkali(self) -> bool:
        """Whether its recipe names what is kept as another alkali by now: no pour is taken."""
        return any(each.code == OTHER_ALKALI for each in self.faults)

    @property
    def as_planned(self) -> bool:
        """Whether nothing of the soap was weighed otherwise than planned."""
        soap = [line for line in self.lines if not line.row.is_packing]
        return all(line.actual in (None, line.row.planned) for line in soap)

    @property
    def deviations(self) -> tuple[ActualLine, ...]:
        """The lines that differ from the plan, in bench order."""
        return tuple(line for line in self.lines if line.deviation is not None)

    @property
    def complete(self) -> bool:
        """Whether everything that goes into the soap was weighed."""
        return all(line.actual is not None for line in self.lines if not line.row.is_packing)

    @property
    def lye_heavy(self) -> bool:
        """Whether free lye would stay in the soap: it must not be sold."""
        return self.superfat is not None and is_lye_heavy(self.superfat)


def actuals_of(code: str) -> Actuals:
    """What was weighed of a batch, against the plan. A fixed number of queries. Raises NotFound."""
    batch = batch_by_code(code)
    return actuals_for(
        batch, batch_rows(batch), held_lots(batch), by_position(standing_weighings(batch.pk))
    )


def actuals_for(
    batch: Batch,
    rows: Sequence[BatchLine],
    held: Held,
    weighed: Mapping[int, Sequence[Weighing]],
) -> Actuals:
    """The same for a batch that is loaded with its rows, held lots and readings by position."""
    scales = scales_for(batch.version)
    lines = tuple(_line(row, weighed.get(row.position, ()), scales) for row in rows)
    superfat, concentration = batch.superfat_poured, batch.lye_concentration_poured
    safety: SafetyCheck | None = None
    faults: Sequence[Fault] = ()
    asked: Notice | None = None
    if batch.state == BatchState.RESERVED and batch.fats and held:
        soap = [row for row in rows if not row.is_packing]
        dealt = lots_by_row(soap, held, weighed)
        amounts = {
            line.row.position: line.row.planned if line.actual is None else line.actual
            for line in lines
        }
        values = only_whole(soap, dealt_values(soap, dealt), amounts)
        scaled = scaled_from(batch, soap)
        safety, found = judged(scaled, values)
        faults = (*other_alkali(batch.version), *found)
        superfat = None if safety is None else safety.superfat
        concentration = lye_concentration(scaled, values)
        if safety is not None and not found:
            own, how = asked_about(scaled, values, safety)
            asked = still_to_accept(batch.version_id, own, of=f"batch {batch.code}{how}")
    return Actuals(
        batch=batch,
        lines=lines,
        superfat=superfat,
        lye_concentration=concentration,
        safety=safety,
        faults=faults,
        of_lots=(*_told(batch, rows, held, weighed), *filter(None, [asked])),
        scales=scales,
    )


def _told(
    batch: Batch,
    rows: Sequence[BatchLine],
    held: Held,
    weighed: Mapping[int, Sequence[Weighing]],
) -> Sequence[Notice]:
    """Of lots that are held, also for a blend, and of those already weighed."""
    if batch.state != BatchState.RESERVED:
        return ()
    lots = [take for takes in held.values() for take in takes]
    lots += [(one.lot, one.amount) for some in weighed.values() for one in some if one.lot]
    return told_of_lots(rows, lots)


def lots_by_row(
    rows: Sequence[BatchLine], held: Held, weighed: Mapping[int, Sequence[Weighing]]
) -> dict[int, list[tuple["Lot", int]]]:
    """Which lots each row takes: as weighed, and of what else is held in the order of the rows."""
    pool = held_beside(held, weighed)
    return {
        row.position: [(one.lot, one.amount) for one in weighed[row.position] if one.lot]
        if row.position in weighed
        else deal(pool[row.material_id], row.planned)
        for row in rows
    }


def held_beside(held: Held, weighed: Mapping[int, Sequence[Weighing]]) -> Pool:
    """What is held of each material (by id) beside that which already stands weighed."""
    gone: dict[int, int] = defaultdict(int)
    for some in weighed.values():
        for one in some:
            if one.lot_id is not None:
                gone[one.lot_id] += one.amount
    pool: Pool = defaultdict(list)
    for material, lots in held.items():
        for lot, amount in lots:
            if amount > gone[lot.pk]:
                pool[material].append((lot, amount - gone[lot.pk]))
    return pool


def tolerance_of(row: BatchLine, scales: Scales) -> tuple[OnScale | None, int]:
    """On which scale a row is weighed (None for pieces), and how far it may be off. No query."""
    if row.material.counted:
        return None, 0
    how = scales.on(row.planned)
    close = row.part in _ALKALI or row.material.kind == MaterialKind.FRAGRANCE.value
    # Below what its scale shows it is weighed on a finer one, or diluted.
    step = how.step_ng if how.shows(row.planned) else 1
    return how, tolerance(row.planned, step=step, close=close)


def _line(row: BatchLine, weighings: Sequence[Weighing], scales: Scales) -> ActualLine:
    actual = row.actual
    if actual is None and weighings:
        actual = sum(weighing.amount for weighing in weighings)
    how, allowed = tolerance_of(row, scales)
    compared = WeighedLine(
        position=row.position, planned=row.planned, actual=actual, tolerance=allowed
    )
    found = deviations([compared])
    return ActualLine(
        row=row,
        actual=actual,
        weighed=how,
        tolerance=allowed,
        deviation=found[0] if found else None,
        weighings=tuple(weighings),
    )
