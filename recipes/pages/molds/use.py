"""Which molds and how much of the rack are in use, from day to day, for the first page."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any

from django.utils import timezone

from recipes.models.bench.batches import Batch, BatchState
from recipes.queries.bench.batches import batches_under_way
from recipes.queries.cure.bars import days_in_mold
from studio.foundation.drawing.timeline import TimelineRow, Use, timeline
from studio.foundation.units.writing import how_many
from studio.web.pages.frame import preferences_of
from studio.web.pages.panels import Panel
from studio.web.pages.writing import written_day

BEFORE, AFTER = timedelta(days=3), timedelta(days=39)
#: So many batches are drawn; a studio with more reads their list.
SHOWN = 40
RACK = "Curing rack"


def mold_use_panel(user: Any) -> Panel:
    """Molds from pour to cut and the rack from cut to release. Two queries."""
    today = timezone.localdate()
    batches = [batch for batch in batches_under_way() if batch.mold_id or batch.bars_good]
    stays = days_in_mold({batch.version.formula_id for batch in batches})
    rows = _rows(batches, stays, today)
    in_use = sum(use.start <= today <= use.end for row in rows if row.label != RACK
                 for use in row.uses)  # fmt: skip
    shown = written_day(today + AFTER, preferences_of(user).dates)
    return Panel(
        title="Molds and rack",
        answer=f"{how_many(in_use, 'mold')} in use today; drawn until {shown}."
        if rows
        else "No mold is in use.",
        columns=(),
        rows=(),
        empty="A planned batch stands here with the days in its mold and on the rack.",
        chart=timeline(
            prefix="mold-use",
            title="Use of molds and rack",
            rows=rows,
            first=today - BEFORE,
            last=today + AFTER,
            today=today,
        )
        if rows
        else None,
    )


def _rows(batches: Iterable[Batch], stays: dict[int, int], today: date) -> list[TimelineRow]:
    """A row for each mold by its name, the rack last; only what falls into the days drawn."""
    molds: dict[str, list[Use]] = defaultdict(list)
    rack: list[Use] = []
    near = (today - BEFORE, today + AFTER)
    for batch in list(batches)[:SHOWN]:
        stay = timedelta(days=stays.get(batch.version.formula_id, 1))
        cut = _cut_on(batch, stay, today)
        if batch.mold is not None and batch.state != BatchState.CUT:
            molds[batch.mold.name].append(_in_mold(batch, cut, today))
        if batch.bars_planned or batch.bars_good:
            cured = batch.cure_ready_on or cut + timedelta(days=batch.version.cure_days)
            state = "curing" if batch.state == BatchState.CUT else "planned on the rack"
            rack.append(Use(label=batch.code, start=cut, end=max(cut, cured), state=state))
    rows = [*sorted(molds.items()), (RACK, rack)]
    drawn = [(label, [u for u in uses if u.start <= near[1] and u.end >= near[0]])
             for label, uses in rows]  # fmt: skip
    return [TimelineRow(label=label, uses=uses) for label, uses in drawn if uses]


def _cut_on(batch: Batch, stay: timedelta, today: date) -> date:
    """The day it was cut, or the day on which it can be."""
    if batch.cut_on is not None:
        return batch.cut_on
    return max((batch.poured_on or batch.planned_on) + stay, today)


def _in_mold(batch: Batch, cut: date, today: date) -> Use:
    if batch.poured_on is not None:
        return Use(label=batch.code, start=batch.poured_on, end=cut, state="in the mold")
    begin = max(batch.planned_on, today)
    return Use(label=batch.code, start=begin, end=max(begin, cut), state="planned in the mold")
