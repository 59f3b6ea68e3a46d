"""What recipes bring to the studio's own pages: search, first steps, and a panel for today."""

from collections import Counter
from datetime import date
from typing import Any

from django.utils import timezone

from recipes.models.bench.batches import Batch, BatchState
from recipes.models.formulas.formulas import Formula
from recipes.models.molds.molds import Mold
from recipes.queries.bench.batches import batches_under_way, due_on
from studio.foundation.units.writing import how_many
from studio.web.pages.frame import preferences_of
from studio.web.pages.panels import Cell, Column, Panel, State
from studio.web.pages.places import page_address
from studio.web.pages.search import FINDERS, Rows
from studio.web.pages.start import STEPS, Step
from studio.web.pages.writing import written_day

SHOWN = 12
#: What comes next for a batch in each state, and the same of something that is due.
_NEXT = {
    BatchState.PLANNED: ("reserve", "to reserve"),
    BatchState.RESERVED: ("weigh and pour", "to weigh"),
    BatchState.POURED: ("cut", "to cut"),
    BatchState.CUT: ("release", "to release"),
}


RECIPES = Rows(of=Formula.objects.all(), page="recipe-page", note=Formula.get_kind_display)
MOLDS = Rows(of=Mold.objects.all(), page="mold-page", note=Mold.get_shape_display)
BATCHES = Rows(
    of=Batch.objects.select_related("version__formula"),
    page="batch-page",
    columns=("code", "version__formula__name"),
    called="version.formula.name",
    order_by=("-planned_on", "-id"),
    note=lambda batch: BatchState(batch.state).label.lower(),
)


def register_finders() -> None:
    """Recipes, molds and batches."""
    FINDERS.register(RECIPES.finder("recipes", order=30))
    FINDERS.register(MOLDS.finder("molds", order=35))
    FINDERS.register(BATCHES.finder("batches", order=40))


def register_steps() -> None:
    """A mold and a recipe."""
    STEPS.register(
        Step(
            "mold",
            "A mold",
            why="Its inner measures, or its measured volume: recipes are scaled to fill it.",
            done=Mold.objects.exists,
            verb="Add a mold",
            pages=("mold-new",),
            order=30,
        )
    )
    STEPS.register(
        Step(
            "recipe",
            "A recipe",
            why="Fats as shares, superfat and lye concentration; the lye is worked out.",
            done=Formula.objects.exists,
            verb="Write a recipe",
            pages=("recipe-new",),
            order=40,
        )
    )


def batches_panel(user: Any) -> Panel:
    """Batches that are not finished, the next due first. One query."""
    today, dates = timezone.localdate(), preferences_of(user).dates
    batches = sorted(
        batches_under_way(), key=lambda batch: (due_on(batch) or date.max, batch.planned_on)
    )
    count = len(batches)
    return Panel(
        title="Batches under way",
        answer=f"{how_many(count, 'batch', 'batches')} between the plan and cured bars."
        if count
        else "No batch is under way.",
        columns=(
            Column("Batch"),
            Column("Recipe"),
            Column("Next"),
            Column("Due", whole=True),
            Column("Bars", number=True, spare=True),
        ),
        rows=tuple(_row(batch, today, dates) for batch in batches[:SHOWN]),
        empty="Plan a batch from a recipe and a mold; it stays here until its bars are cured.",
        more=page_address("batches") if count > SHOWN else "",
        now=_now(batches, today),
    )


def _is_due(batch: Batch, today: date) -> bool:
    due = due_on(batch)
    return due is not None and due <= today


def _now(batches: list[Batch], today: date) -> tuple[str, ...]:
    due = Counter(BatchState(batch.state) for batch in batches if _is_due(batch, today))
    return tuple(
        f"{how_many(due[state], 'batch', 'batches')} {words}"
        for state, (_, words) in _NEXT.items()
        if due[state]
    )


def _row(batch: Batch, today: date, dates: str) -> tuple[str | Cell, ...]:
    state = BatchState(batch.state)
    due = due_on(batch)
    bars = batch.bars_planned if batch.bars_good is None else batch.bars_good
    is_due = _is_due(batch, today)
    verb = _NEXT[state][0] if is_due or state is not BatchState.CUT else "cures"
    return (
        Cell(
            batch.code,
            href=page_address("batch-page", batch.code),
        ),
        batch.version.formula.name,
        Cell(verb, state=State.SOON if is_due else State.PLAIN),
        written_day(due, dates) if due else "",
        str(bars) if bars else "",
    )
