"""A batch at the bench in the words of its pages: each line, what comes next, how it stands."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.utils import timezone

from recipes.domain.bench.deviations import Verdict, verdict
from recipes.domain.formulas.formula import Stage
from recipes.models.bench.batches import Batch
from recipes.paper.amounts import OUNCE_NG, amount_text, ounces_text, scale_text
from recipes.paper.sheet import STAGES, on_the_scale
from recipes.services.bench.sheets import (
    BenchLots,
    OpenLot,
    Sheet,
    SheetLine,
    bench_lots,
    sheet_of,
)
from recipes.services.bench.shelf import is_lye_line
from studio.foundation.units.writing import how_many
from studio.models import Preference
from studio.web.pages.writing import written_mass

Two = tuple[str, str]
#: In a list to choose from there is no room for more of a reason.
LONGEST_WHY = 60


def written(amount: int, *, counted: bool, units: str) -> Two:
    """An amount as the scale shows it, in the reader's units and in the others; pieces alone."""
    if counted:
        return amount_text(amount, counted=True), ""
    both = amount_text(amount, counted=False), ounces_text(amount)
    # Hundredths of an ounce say too little of a pinch.
    is_us = units == Preference.Units.US and amount >= OUNCE_NG // 20
    return (both[1], both[0]) if is_us else both


def judged(planned: int, actual: int, tolerance: int, *, counted: bool, units: str) -> str:
    """A reading in a word or three: "inside", "over by 20 g"."""
    found = verdict(planned, actual, tolerance=tolerance)
    if found is Verdict.INSIDE:
        return found.value
    off, _ = written(abs(actual - planned), counted=counted, units=units)
    return f"{found.value} by {off}"


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownLot:
    """A lot by its code, with an amount in words.

    `is_rebatched` is unsafe soap that an owner chose for the batch; `unsafe` says of a lot that an
    owner may choose what it is held for.
    """

    code: str
    amount: str
    is_held: bool = True
    is_unusable: bool = False
    is_rebatched: bool = False
    unsafe: str = ""

    @property
    def label(self) -> str:
        """How it stands in a list to choose from."""
        if self.unsafe:
            return f"{self.code}, {self.amount}, held: {self.unsafe[:LONGEST_WHY]}"
        return f"{self.code}, {self.amount} {'held' if self.is_held else 'free'}"


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownLine:
    """One thing to weigh or count. `verdict` is empty until then; `is_locked` waits for cautions.

    `lots` are those to take it from, `others` all that it could come from.
    """

    line: SheetLine
    heading: str
    target: Two
    tolerance: Two
    actual: Two
    verdict: str
    judged: str
    is_lye: bool
    is_locked: bool
    lots: Sequence[ShownLot]
    others: Sequence[ShownLot]
    short: str

    @property
    def position(self) -> int:
        """The number by which the batch knows the line."""
        return self.line.row.position

    @property
    def name(self) -> str:
        """What is weighed."""
        return self.line.row.material.name

    @property
    def portion(self) -> str:
        """The color portion that it goes into, or ""."""
        return self.line.row.portion

    @property
    def counted(self) -> bool:
        """Whether it is counted and not weighed."""
        return self.line.row.material.counted

    @property
    def scale(self) -> str:
        """On which scale it is weighed; "" where none is kept, and for pieces."""
        return scale_text(self.line.actual.weighed)

    @property
    def is_done(self) -> bool:
        """Whether a reading stands, or it was left out."""
        return self.line.actual.actual is not None

    @property
    def is_left_out(self) -> bool:
        """Whether somebody said that nothing of it goes in."""
        return self.line.actual.actual == 0

    @property
    def offers_unsafe(self) -> bool:
        """Whether unsafe soap is among the lots that it could come from."""
        return any(lot.unsafe for lot in self.others)

    @property
    def is_unusable(self) -> bool:
        """Whether a lot that it would be taken from must not be used."""
        return any(lot.is_unusable for lot in self.lots)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownBench:
    """A batch at the bench: all its lines before the pour, in bench order."""

    sheet: Sheet
    lines: Sequence[ShownLine]

    @property
    def batch(self) -> Batch:
        """The batch itself."""
        return self.sheet.batch

    @property
    def is_soap(self) -> bool:
        """Whether it is poured; a blend is mixed."""
        return bool(self.batch.fats)

    @property
    def stages(self) -> Mapping[str, Sequence[ShownLine]]:
        """The lines by the heading of their stage."""
        found: dict[str, list[ShownLine]] = {}
        for line in self.lines:
            found.setdefault(line.heading, []).append(line)
        return found

    @property
    def done(self) -> int:
        """How many lines are weighed."""
        return sum(line.is_done for line in self.lines)

    @property
    def is_complete(self) -> bool:
        """Whether all of them are."""
        return self.done == len(self.lines)

    @property
    def dangers(self) -> Sequence[str]:
        """What would hurt, as weighed so far."""
        safety = self.sheet.safety
        if safety is None:
            return [self.sheet.actuals.unsafe] if self.sheet.actuals.unsafe else ()
        heavy = ["lye-heavy: use less alkali or more fat"] if self.sheet.actuals.lye_heavy else []
        over = [share.name for share in safety.fragrances if share.is_over]
        return heavy + [f"{name} is over its certified maximum" for name in over]

    @property
    def outside(self) -> Sequence[ShownLine]:
        """Lines that were weighed outside their tolerance."""
        return [line for line in self.lines if line.verdict in ("over", "under")]

    def at(self, position: int) -> ShownLine | None:
        """The line with this number."""
        return next((line for line in self.lines if line.position == position), None)

    def next_after(self, position: int | None) -> ShownLine | None:
        """The next line that is not weighed, from a line on and then from the first."""
        places = [line.position for line in self.lines]
        start = places.index(position) + 1 if position in places else 0
        turned = [*self.lines[start:], *self.lines[:start]]
        return next(
            (line for line in turned if not line.is_done and line.position != position), None
        )


def show_bench(code: str, *, units: str, confirmed: bool, for_owner: bool = False) -> ShownBench:
    """A batch at the bench; `confirmed` opens its lye step, `for_owner` lists unsafe soap, too.

    A fixed number of queries.
    """
    sheet = sheet_of(code)
    lots = bench_lots(sheet, on=timezone.localdate(), for_owner=for_owner)
    locks = bool(sheet.cautions) and not confirmed
    return ShownBench(
        sheet=sheet,
        lines=[
            _line(sheet, stage, line, lots, units=units, locks=locks)
            for stage, lines in sheet.stages
            for line in lines
            if stage is not Stage.PACK
        ],
    )


def _tolerance(amount: int, *, counted: bool, units: str) -> Two:
    """Rounded down where ounces are read, so that what is written is inside."""
    if not amount:
        return "", ""
    first, other = written(amount, counted=counted, units=units)
    if first.endswith("oz"):
        first = ounces_text(amount * 100 // OUNCE_NG * OUNCE_NG // 100)
    return first, other


def _line(
    sheet: Sheet, stage: Stage, line: SheetLine, lots: BenchLots, *, units: str, locks: bool
) -> ShownLine:
    row, actual = line.row, line.actual
    counted = row.material.counted

    def words(amount: int) -> Two:
        return written(amount, counted=counted, units=units)

    weighed = actual.actual
    is_lye = bool(sheet.cautions) and is_lye_line(row)
    return ShownLine(
        line=line,
        heading=STAGES[stage.value] if sheet.batch.fats else "Parts",
        target=words(row.planned),
        tolerance=_tolerance(actual.tolerance, counted=counted, units=units),
        actual=("", "") if weighed is None else words(weighed),
        verdict=""
        if weighed is None
        else verdict(row.planned, weighed, tolerance=actual.tolerance).value,
        judged=""
        if weighed is None
        else judged(row.planned, weighed, actual.tolerance, counted=counted, units=units),
        is_lye=is_lye,
        is_locked=is_lye and locks,
        lots=[
            ShownLot(
                code=one.lot,
                amount=words(amount)[0],
                is_unusable=one.lot in lots.unusable,
                is_rebatched=one.lot in lots.rebatched,
            )
            for one, amount in zip(line.lots, on_the_scale(line), strict=True)
        ],
        others=[_other(one, counted=counted, units=units) for one in lots.of(row.position)],
        short=words(line.short)[0] if line.short > 0 else "",
    )


def _other(lot: OpenLot, *, counted: bool, units: str) -> ShownLot:
    return ShownLot(
        code=lot.code,
        amount=how_many(lot.open, "piece") if counted else written_mass(lot.open, units)[0],
        is_held=lot.is_held,
        unsafe=lot.unsafe,
    )
