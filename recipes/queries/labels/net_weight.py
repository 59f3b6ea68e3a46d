"""The net weight that a batch's bars may be labeled with on the day they are first sold."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction
from math import floor
from typing import Annotated

from django.utils import timezone

from inventory.domain.stock.days import DayRule, is_to_come
from recipes.domain.cure.drying import left_without_curve
from recipes.domain.cure.mass_at_cut import outweigh_pour
from recipes.domain.labels.net_weight import (
    TABLE_NOTE,
    USUAL_CONFIDENCE,
    LabelWeight,
    Requirement,
    Sample,
    correction_factor,
    inspected_of,
    label_weight,
    sample_of,
    usable_division,
)
from recipes.domain.scales import Scales
from recipes.models.bench.batches import Batch
from recipes.queries.cure.cure import Cure, cure_of, cut_record_of, last_weights
from recipes.queries.scales.scales import scales_for
from studio.foundation.errors import Faults, InvalidInput
from studio.foundation.hints import Grams, Mark
from studio.foundation.units.registry import NG_PER_G
from studio.foundation.units.writing import grams

NG_PER_OZ = 28_349_523_125
DRYING_NOTE = (
    "Drying in ordinary distribution after the bars enter commerce is allowed for (16 CFR "
    "500.25(b)); before that it is not, so the label is for the sale date."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class NetWeightQuestion:
    """What is asked: the first day of sale (None: when the cure is over), and the sample.

    `weights` are bars in ng as weighed on `weighed_on` (None: today, or on a sale date that has
    passed); without them the last cure weighing of two bars or more is the sample. Labels are whole
    steps.
    """

    sale_on: date | None = None
    weights: Sequence[int] = ()
    weighed_on: date | None = None
    confidence: Decimal = USUAL_CONFIDENCE
    step_ng: int = NG_PER_G


@dataclass(frozen=True, slots=True, kw_only=True)
class NetWeight:
    """The answer: the label, the sample as weighed and as expected on the sale date, and why.

    `left` is the share of the weighed weight that is left then; `by` says from what it is known:
    "curve", "recipe" (its cure loss), or "weighed" (nothing is expected to dry in between).
    """

    label: LabelWeight
    sale_on: date
    weighed_on: date
    weighed: Sample
    expected: Sample
    left: Annotated[Fraction, Mark.SHARE]
    by: str
    inspected: int
    correction: float
    usable_division: Grams
    reasons: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def ounces(self) -> Decimal:
        """The label in ounces, to a hundredth and rounded down: it may not overstate."""
        return Decimal(self.label.label * 100 // NG_PER_OZ).scaleb(-2)


def net_weight_of(code: str, asked: NetWeightQuestion) -> NetWeight:
    """The largest safe label for a batch's bars. Five queries.

    Raises NotFound, BatchConflict before the pour, InvalidInput without two weighed bars and for
    weights above what was poured, OutsideTable above 1120 g.
    """
    return net_weight_from(cure_of(code), asked)


def net_weight_from(cure: Cure, asked: NetWeightQuestion) -> NetWeight:
    """The same of a cure that was read already. One query."""
    batch, scales = cure.batch, scales_for(cure.batch.version)
    sale_on = asked.sale_on or cure.ready_on
    weighed_on, weights = _sample(cure, asked, sale_on, scales)
    left, by = _left(cure, weighed_on, sale_on, asked.confidence)
    weighed = sample_of(weights)
    expected = sample_of([max(floor(weight * left), 1) for weight in weights])
    inspected = inspected_of(batch.bars_planned if batch.bars_good is None else batch.bars_good)
    label = label_weight(
        expected, confidence=asked.confidence, inspected=inspected, step_ng=asked.step_ng
    )
    correction = correction_factor(expected.count, confidence=asked.confidence)
    return NetWeight(
        label=label,
        sale_on=sale_on,
        weighed_on=weighed_on,
        weighed=weighed,
        expected=expected,
        left=left,
        by=by,
        inspected=inspected,
        correction=correction,
        usable_division=floor(usable_division(Fraction(label.largest_division))),
        reasons=_reasons(label, expected, correction, inspected),
        notes=_notes(cure, label, sale_on, by, scales),
    )


def _sample(
    cure: Cure, asked: NetWeightQuestion, sale_on: date, scales: Scales
) -> tuple[date, Sequence[int]]:
    poured_on = cure.batch.poured_on
    if asked.weights:
        today, faults = timezone.localdate(), Faults()
        weighed_on = asked.weighed_on or min(sale_on, today)
        if poured_on and weighed_on < poured_on:
            faults.add("before-pour", f"It was poured on {poured_on}.", "weighed_on")
        if is_to_come(weighed_on, today=today):
            told = "Bars were weighed today or on a day before."
            faults.add(DayRule.TO_COME.value, told, "weighed_on")
        _take_heavier_than_poured(faults, cure.batch, asked.weights, scales)
        faults.raise_if_any(InvalidInput)
        return weighed_on, asked.weights
    last = last_weights(cure.weighings)
    if last is None:
        raise InvalidInput(
            "No two bars were weighed on one day yet: give the weights of a few bars, best of 12.",
            field="weights",
        )
    return last


def _take_heavier_than_poured(
    faults: Faults, batch: Batch, weights: Sequence[int], scales: Scales
) -> None:
    """No bar, nor all of the sample, weighs more than was poured. No query."""
    record, lot = cut_record_of(batch), batch.poured_lot
    if record is not None:
        mass = record.poured
    elif lot is not None:
        mass = lot.received_amount
    else:
        return
    poured, heavy = grams(mass), False
    for place, weight in enumerate(weights):
        if outweigh_pour([weight], poured_ng=mass, scales=scales):
            told = f"A bar weighs no more than the {poured} that were poured: weigh it again."
            faults.add("more-than-poured", told, f"weights.{place}")
            heavy = True
    if not heavy and outweigh_pour(weights, poured_ng=mass, scales=scales):
        told = f"The bars weigh {grams(sum(weights))}, of {poured} that were poured"
        faults.add("more-than-poured", f"{told}: weigh them again.", "weights")


def _left(cure: Cure, weighed_on: date, sale_on: date, confidence: Decimal) -> tuple[Fraction, str]:
    """What is left on the sale date of the weight as weighed, and from what that is known."""
    if sale_on <= weighed_on:
        return Fraction(1), "weighed"
    version, poured_on = cure.batch.version, cure.batch.poured_on
    if cure.curve is not None and cure.curve.since <= weighed_on:
        left = cure.curve.left(weighed_on, sale_on, confidence=float(confidence))
        return left, "curve"
    left = left_without_curve(
        loss_share=version.cure_loss_share,
        cure_days=version.cure_days,
        weighed_day=(weighed_on - poured_on).days if poured_on else 0,
        sale_day=(sale_on - poured_on).days if poured_on else 0,
    )
    return left, "recipe"


def _reasons(
    label: LabelWeight, sample: Sample, correction: float, inspected: int
) -> tuple[str, ...]:
    binds = {
        Requirement.AVERAGE: "The average requirement keeps the label from being higher.",
        Requirement.INDIVIDUAL: "The allowed shortage of single bars keeps the label from being "
        "higher.",
        Requirement.BOTH: "Both requirements allow the same label.",
    }
    spread = grams(round(sample.deviation), 2)
    return (
        binds[label.binds],
        f"Average: {sample.count} bars are expected to weigh {grams(round(sample.mean), 2)} on "
        f"average on the sale date; less {correction:.3f} times the standard deviation of {spread} "
        f"it is {grams(label.average_bound, 2)}. That alone allows {grams(label.by_average, 2)}.",
        f"Single bars: none of {inspected} that are weighed is expected below "
        f"{grams(label.individual_floor, 2)}, and a bar of that label may be short by "
        f"{grams(label.mav, 2)}. That alone allows {grams(label.by_individual, 2)}.",
    )


def _notes(
    cure: Cure, label: LabelWeight, sale_on: date, by: str, scales: Scales
) -> tuple[str, ...]:
    notes = [TABLE_NOTE, DRYING_NOTE]
    if by == "recipe":
        notes.append(
            "No drying curve reaches that far: the recipe's cure loss is spread evenly over its "
            "cure days."
        )
    if by == "curve" and cure.curve is not None and cure.curve.approach.covariance is None:
        notes.append("The curve rests on three days alone, so nothing is known of its error.")
    if sale_on < cure.ready_on:
        notes.append(f"The cure is over on {cure.ready_on} only.")
    how = scales.on(label.label)
    shown_by = how.name or "The recipe's scale"
    if how.step_ng > label.largest_division:
        notes.append(
            f"{shown_by} shows steps of {grams(how.step_ng, 2)}: to "
            f"check this label, no more than {grams(label.largest_division, 2)} (a sixth of the "
            "allowed shortage)."
        )
    return tuple(notes)
