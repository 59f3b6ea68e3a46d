"""The lye of a planned soap set anew on the lots that it holds: weaker or stronger than on paper.

More or less stored lye changes how much of it is held, and that may change the lots: so stock is
held, the lye is set on those lots, and where the weights differ all is held anew until they agree.
Lye burns: whoever shows the new weights shows `recipes.domain.bench.cautions` beside them.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, TypeVar

from django.db import transaction

from inventory.domain.stock.leaves import NONE, Span
from inventory.queries.stock.candidates import Choices
from inventory.services.buying.requirements import require
from inventory.services.stock.reservations import Held, Holding, reserve
from recipes.domain.chemistry.safety import LotTake, LotValues
from recipes.domain.formulas.formula import Alkali, Purest, Stage
from recipes.domain.formulas.scaled import ScaledBatch, ScaledLine
from recipes.domain.scaling.scaling import set_lye_on_lots
from recipes.errors import BatchConflict
from recipes.models.bench.batches import Batch, BatchLine, BatchState
from recipes.queries.bench.batches import batch_needs
from recipes.queries.formulas.formulas import LoadedFormula, load_formula
from recipes.services.bench.batches import (
    ReservedBatch,
    days_of_use,
    expect,
    lock_batch,
    touch,
    with_enough,
)
from recipes.services.bench.held_safety import check_held, held_values, soap_rows
from recipes.services.bench.remaking import scaled_from
from studio.foundation.doers import By

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material
    from inventory.models.stock.lots import Lot

Part = BatchLine.Part
Answer = TypeVar("Answer")
Lots = Sequence[tuple["Lot", int]]
Weights = Mapping[str, int]

#: How often stock is held anew because the lye on the lots asks for other weights.
ROUNDS = 8


class _Anew(Exception):
    """The lots that are held ask for other weights of lye."""

    def __init__(self, scaled: ScaledBatch) -> None:
        self.scaled = scaled
        super().__init__()


@transaction.atomic
def reserve_on_lots(
    code: str,
    *,
    chosen: Choices | None = None,
    expires_on: date | None = None,
    on: date | None = None,
    accept_worst: Decimal | None = None,
    by: By = None,
) -> ReservedBatch:
    """As `reserve_batch`, with the lye of a soap set anew on the values of the lots it holds.

    Raises also FormulaRefusal and ScalingRefusal, when the lots' own values allow no such lye (a
    stored lye weaker than the recipe's).
    """
    batch, rows = lock_batch(code)
    expect(batch, BatchState.PLANNED, "reserved")

    def hold(lines: Sequence[BatchLine], day: date) -> Held:
        return reserve(
            Holding(
                needs=batch_needs(lines),
                holder=batch.holder,
                on=day,
                chosen=chosen or {},
                expires_on=expires_on,
            ),
            by=by,
        )

    held, rows = with_enough(
        days_of_use(batch, hold_until=expires_on, on=on),
        lambda day: hold_with_own_lye(
            batch, rows, hold=lambda lines: hold(lines, day), lots=lambda held: held.lots
        ),
    )
    safety = check_held(batch, rows, held.lots, accept_worst=accept_worst, by=by)
    batch.state, batch.reservation = BatchState.RESERVED, held.reservation
    touch(batch, "state", "reservation")
    return ReservedBatch(batch=batch, held=held, safety=safety)


def hold_with_own_lye(
    batch: Batch,
    rows: Sequence[BatchLine],
    *,
    hold: Callable[[Sequence[BatchLine]], Answer],
    lots: Callable[[Answer], Lots],
) -> tuple[Answer, Sequence[BatchLine]]:
    """Hold what rows need until the lye set on those lots needs just that; keep the new weights.

    `hold` holds stock for the rows it is given; `lots` says which lots of the batch that was. A
    blend has no lye to set. Raises BatchConflict when lots and weights do not come to agree.
    """
    if not batch.fats:
        return hold(rows), rows
    version = batch.version
    loaded = load_formula(code=version.formula.code, number=version.number)
    setting = _Setting(batch, loaded)
    kept = rows
    for _ in range(ROUNDS):
        try:
            with transaction.atomic():
                answer = hold(kept)
                scaled = setting.on_lots(kept, lots(answer))
                if _weights(scaled) != _planned(kept):
                    raise _Anew(scaled)
        except _Anew as anew:
            kept = setting.rows_for(anew.scaled, rows)
            continue
        if kept is not rows:
            _keep(batch, rows, kept, scaled)
        return answer, kept
    raise BatchConflict(
        f"The lye of batch {batch.code} does not settle on these lots; choose the lots.",
        field="reset_lye",
    )


@dataclass(frozen=True, slots=True)
class _Setting:
    """A batch with its formula, of which the lye is set on lots."""

    batch: Batch
    loaded: LoadedFormula

    def on_lots(self, rows: Sequence[BatchLine], lots: Lots) -> ScaledBatch:
        """The soap with its lye set on the own values of these lots."""
        soap = soap_rows(rows)
        base = self._base(soap)
        values = held_values(soap, lots)
        return set_lye_on_lots(
            base,
            saponification_values=self._saponification(soap, values),
            alkali=_alkali(base.formula.alkali, values),
            resolution=self.loaded.scales,
        )

    def rows_for(self, scaled: ScaledBatch, rows: Sequence[BatchLine]) -> list[BatchLine]:
        """The rows with these weights of lye: the same otherwise, not stored."""
        weights = dict(_weights(scaled))
        kept = []
        for row in rows:
            if row.part == Part.LINE:
                kept.append(row)
            elif weight := weights.pop(row.part, 0):
                kept.append(_copy(row, weight))
        last = max(row.position for row in rows)
        for offset, (part, weight) in enumerate(weights.items(), start=1):
            kept.append(self._new(part, weight, last + offset, rows[0].batch))
        return kept

    def _new(self, part: str, weight: int, position: int, batch: Batch) -> BatchLine:
        version = self.loaded.version
        materials: dict[str, Material | None] = {
            Part.NAOH: version.naoh,
            Part.KOH: version.koh,
            Part.MASTERBATCH: version.masterbatch,
            Part.WATER: version.water,
        }
        return BatchLine(
            batch=batch,
            position=position,
            part=part,
            material=materials[part],
            stage=Stage.LYE.value,
            planned=weight,
        )

    def _base(self, soap: Sequence[BatchLine]) -> ScaledBatch:
        """The soap as planned, with the lines too that the scale's step left nothing of."""
        planned = {row.formula_line_id: row for row in soap if row.part == Part.LINE}
        assert self.loaded.soap is not None
        lines = []
        for index, (line, written) in enumerate(
            zip(self.loaded.soap.lines, self.loaded.rows, strict=True)
        ):
            row = planned.get(written.pk)
            amount = row.planned if row else 0
            if line.ingredient.counted:
                mass = amount * (line.ingredient.piece_mass_ng or 0)
                lines.append(ScaledLine(index, line, mass, mass, amount))
            else:
                lines.append(ScaledLine(index, line, amount, amount))
        scaled = scaled_from(self.batch, soap)
        return replace(scaled, formula=self.loaded.soap, lines=tuple(lines))

    def _saponification(self, soap: Sequence[BatchLine], values: LotValues) -> dict[int, Span]:
        """The mean by mass of the lots' values, by the line's place in the formula."""
        place = {row.pk: index for index, row in enumerate(self.loaded.rows)}
        lines = [row for row in soap if row.part == Part.LINE]
        found: dict[int, Span] = {}
        for index, takes in values.lines.items():
            row = lines[index]
            if row.formula_line_id is None:
                continue
            if demand := _mean(takes, "demand"):
                found[place[row.formula_line_id]] = demand
        return found


def _mean(takes: Sequence[LotTake] | None, name: str) -> Span | None:
    """The mean by mass of what the lots hold; None where nothing is taken or nobody knows."""
    mass = sum(take.mass_ng for take in takes or ())
    total = NONE
    for take in takes or ():
        span: Span | None = getattr(take.contents, name, None)
        if span is None:
            return None
        total += span.times(Decimal(take.mass_ng))
    return total.over(mass) if mass else None


def _alkali(alkali: Alkali, values: LotValues) -> Alkali:
    naoh, koh = _mean(values.naoh, "naoh"), _mean(values.koh, "koh")
    stored = _mean(values.masterbatch, "naoh")
    most = alkali.purest
    return replace(
        alkali,
        naoh_purity=naoh.usual if naoh else alkali.naoh_purity,
        koh_purity=koh.usual if koh else alkali.koh_purity,
        masterbatch_strength=stored.usual if stored else alkali.masterbatch_strength,
        purest=Purest(
            naoh=naoh.high if naoh else most.naoh,
            koh=koh.high if koh else most.koh,
            masterbatch=stored.high if stored else most.masterbatch,
        ),
    )


def _weights(scaled: ScaledBatch) -> Weights:
    weights = {
        Part.MASTERBATCH: scaled.masterbatch_ng,
        Part.NAOH: scaled.naoh_ng,
        Part.KOH: scaled.koh_ng,
        Part.WATER: scaled.extra_water_ng,
    }
    return {part.value: weight for part, weight in weights.items() if weight}


def _planned(rows: Sequence[BatchLine]) -> Weights:
    return {row.part: row.planned for row in rows if row.part != Part.LINE}


def _copy(row: BatchLine, planned: int) -> BatchLine:
    fields = {field.attname: getattr(row, field.attname) for field in BatchLine._meta.fields}
    copy = BatchLine(**{**fields, "planned": planned})
    copy.batch, copy.material = row.batch, row.material
    return copy


def _keep(
    batch: Batch, before: Sequence[BatchLine], rows: Sequence[BatchLine], scaled: ScaledBatch
) -> None:
    """Store the new weights, the figures that follow from them, and what is required now."""
    kept = {row.pk for row in rows if row.pk}
    BatchLine.objects.filter(pk__in=[row.pk for row in before if row.pk not in kept]).delete()
    BatchLine.objects.bulk_update([row for row in rows if row.pk], ["planned"])
    BatchLine.objects.bulk_create([row for row in rows if not row.pk])
    batch.batter, batch.superfat = scaled.batter_ng, scaled.superfat
    batch.superfat_worst = scaled.worst_superfat
    batch.lye_concentration = scaled.lye_concentration
    batch.save(update_fields=["batter", "superfat", "superfat_worst", "lye_concentration"])
    require(batch_needs(rows), holder=batch.holder, due_on=batch.planned_on)
