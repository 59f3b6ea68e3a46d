"""The cure: sample bars are weighed, the maker chooses which date holds, an alert tells it."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from django.db import transaction
from django.db.models import F
from django.db.models.functions import Coalesce

from inventory.domain.alerts.causes import Finding
from inventory.queries.stock.holds import cures_ended
from inventory.services.alerts.registry import CAUSES, Cause, Look
from inventory.services.days import take_day_outside
from inventory.services.stock.proof import CHECKS, Check, Difference
from recipes.domain.cure.mass_at_cut import outweigh_pour
from recipes.errors import BatchConflict
from recipes.models.bench.batches import Batch, BatchState
from recipes.models.cure.finishing import STATED, CureChoice, CureWeighing, CutRecord
from recipes.queries.cure.cure import cure_from, cure_ready_batches
from recipes.queries.scales.scales import scales_for
from recipes.services.bench.batches import lock_batch, touch
from recipes.services.scaling.planning import expect_made
from studio.foundation.doers import By
from studio.foundation.errors import Faults, InvalidInput
from studio.foundation.units.writing import grams

#: 100 kg in ng, and a sample that nobody weighs by hand.
HEAVIEST = 10**14
MOST_BARS_WEIGHED = 1000
#: Cure days by the recipe and by weighing end within this of the pour.
LONGEST_CURE = timedelta(days=3650 * 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class DayOfWeighing:
    """What sample bars weighed on a day: number of the bar (from 1) -> ng."""

    on: date
    weights: Mapping[int, int]


@transaction.atomic
def weigh_bars(code: str, weighed: DayOfWeighing, *, by: By = None) -> Batch:
    """Keep what sample bars weighed. A bar weighed again on the same day has its new weight.

    Bars may be weighed from the cut on, also after their release. Raises BatchConflict before the
    cut, InvalidInput for a day before it, no bars, or weights that cannot be.
    """
    batch, _ = lock_batch(code)
    if batch.state not in (BatchState.CUT, BatchState.CURED) or not batch.bars_good:
        raise BatchConflict(
            f"Batch {batch.code} is {batch.state} and has no good bars to weigh.",
            field="batch",
            details={"state": str(batch.state)},
        )
    _check(batch, weighed)
    CureWeighing.objects.bulk_create(
        (
            CureWeighing(batch=batch, on=weighed.on, bar=bar, weight=weight, by=by)
            for bar, weight in weighed.weights.items()
        ),
        update_conflicts=True,
        unique_fields=["batch", "on", "bar"],
        update_fields=["weight", "at", "by"],
    )
    touch(batch)
    return batch


@transaction.atomic
def choose_cure_date(code: str, ready_on: date, *, reason: str = "", by: By = None) -> Batch:
    """Let the date that the weighings predict hold, or the recipe's again.

    `ready_on` must be one of the two as they are now: a maker accepts what was seen. Raises
    BatchConflict unless the bars are curing, InvalidInput for any other date.
    """
    batch, _ = lock_batch(code)
    if batch.state not in (BatchState.POURED, BatchState.CUT):
        raise BatchConflict(
            f"Batch {batch.code} is {batch.state}: its bars are not curing.",
            field="batch",
            details={"state": str(batch.state)},
        )
    cure = cure_from(batch)
    predicted = cure.predicted.on if cure.predicted else None
    if ready_on not in (predicted, cure.default_on):
        told = f"the weighings predict {predicted}" if predicted else _why(cure.no_curve)
        raise InvalidInput(
            f"By the recipe the cure is over on {cure.default_on}; {told}. Choose one of these.",
            field="ready_on",
            details={"default_on": cure.default_on.isoformat()},
        )
    kinds = CureChoice.Kind
    CureChoice.objects.create(
        batch=batch,
        kind=kinds.DEFAULT if ready_on == cure.default_on else kinds.ACCEPTED,
        due_on=cure.ready_on,
        ready_on=ready_on,
        reason=reason.strip(),
        by=by,
    )
    batch.cure_ready_on = ready_on
    touch(batch, "cure_ready_on")
    expect_made(batch)
    return batch


def _why(no_curve: object) -> str:
    message = getattr(no_curve, "message", "") or "The weighings predict no date."
    return "no other date is known (" + message.rstrip(".") + ")"


def _check(batch: Batch, weighed: DayOfWeighing) -> None:
    faults = Faults()
    take_day_outside(faults, "A weighing", weighed.on)
    if batch.cut_on and weighed.on < batch.cut_on:
        faults.add("before-cut", f"It was cut on {batch.cut_on}.", "on")
    if batch.poured_on and weighed.on > batch.poured_on + LONGEST_CURE:
        faults.add("too-late", "That is twenty years after the pour.", "on")
    if not weighed.weights:
        faults.add("no-bars", "Weigh at least one bar.", "weights")
    if len(weighed.weights) > MOST_BARS_WEIGHED:
        faults.add("too-many", f"At most {MOST_BARS_WEIGHED} bars a day.", "weights")
    for bar, weight in weighed.weights.items():
        if bar < 1:
            faults.add("bar-number", "Sample bars are numbered from 1.", f"weights.{bar}")
        if not 0 < weight <= HEAVIEST:
            faults.add("weight-outside", "A bar weighs from above 0 to 100 kg.", f"weights.{bar}")
    if not faults:
        _take_heavier_than_poured(faults, batch, weighed)
    faults.raise_if_any(InvalidInput)


def _take_heavier_than_poured(faults: Faults, batch: Batch, weighed: DayOfWeighing) -> None:
    """No sample, nor all of a day, weighs more than was poured. Three queries."""
    cut = CutRecord.objects.filter(batch=batch).first()
    if cut is None:
        return
    before = CureWeighing.objects.filter(batch=batch, on=weighed.on)
    of_day = {**dict(before.values_list("bar", "weight")), **weighed.weights}
    scales, poured = scales_for(batch.version), grams(cut.poured)
    for bar, weight in weighed.weights.items():
        if outweigh_pour([weight], poured_ng=cut.poured, scales=scales):
            told = f"A bar weighs no more than the {poured} that were poured: weigh it again."
            faults.add("more-than-poured", told, f"weights.{bar}")
    together = list(of_day.values())
    if not faults and outweigh_pour(together, poured_ng=cut.poured, scales=scales):
        told = (
            f"All bars of {weighed.on} weigh {grams(sum(together))}, of {poured} that were poured"
        )
        faults.add("more-than-poured", f"{told}: weigh them again.", "weights")


def cure_ready(look: Look) -> list[Finding]:
    """Cut batches, and opening stock, whose time to cure is over. Two queries."""
    return [*_batches_ready(look), *_opening_stock_ready(look)]


def _opening_stock_ready(look: Look) -> list[Finding]:
    return [
        Finding(
            subject=f"lot:{found.lot.code}",
            name=f"lot {found.lot.code}",
            reason=f"The cure of lot {found.lot.code} of {found.lot.material.name}, which was here "
            f"before the books began, was over on {found.until}: look at it, and end its cure.",
            figures={"ready_on": str(found.until), "bars": found.lot.on_hand},
        )
        for found in cures_ended(on=look.on)
    ]


def _batches_ready(look: Look) -> list[Finding]:
    return [
        Finding(
            subject=f"batch:{found.batch}",
            name=f"batch {found.batch}",
            reason=f"{found.bars} bars of {found.product} (batch {found.batch}) are ready since "
            f"{found.ready_on}: weigh a few, and book them as cured.",
            figures={"ready_on": found.ready_on.isoformat(), "bars": found.bars},
        )
        for found in cure_ready_batches(on=look.on)
    ]


def register_causes() -> None:
    """Make the recipes' causes known."""
    CAUSES.register(
        Cause(kind="cure-ready", title="Cured", find=cure_ready, one="is ready", many="are ready")
    )


def cuts_above_their_pour() -> list[Difference]:
    """Cuts of which the stated parts weigh more than was poured, within the scale. One query.

    Cuts of before that was refused have no allowance for the scale.
    """
    rows = CutRecord.objects.annotate(
        stated=STATED, most=F("poured") + Coalesce(F("allowance"), 0)
    ).filter(stated__gt=F("most"))
    return [
        Difference(
            lot="",
            document=record.batch.holder,
            what="weight of bars, rejects and ends",
            unit="g",
            on_row=int(record.stated),
            in_books=int(record.most),
            against="what was poured, with all that the scale allows, weighed",
        )
        for record in rows.select_related("batch").order_by("batch")
    ]


def register_checks() -> None:
    """Make the recipes' part of the proof known."""
    CHECKS.register(Check(name="mass at the cut", find=cuts_above_their_pour))
