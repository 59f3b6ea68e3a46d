"""Which batches are under way, for the first page."""

from django.urls import reverse

from recipes.models import Batch, BatchState
from recipes.queries.batches import batches_under_way
from studio.pages.panels import Cell, Column, Panel, State

SHOWN = 12

#: What comes next for a batch in each state.
_NEXT = {
    BatchState.PLANNED: "reserve",
    BatchState.RESERVED: "weigh and pour",
    BatchState.POURED: "cut",
    BatchState.CUT: "cure",
}


def batches_panel(_user: object) -> Panel:
    """Batches that are not finished, the next due first. One query."""
    batches = batches_under_way()
    count = len(batches)
    return Panel(
        title="Batches under way",
        answer=f"{count} batch{'' if count == 1 else 'es'} between the plan and cured bars."
        if count
        else "No batch is under way.",
        columns=(
            Column("Batch"),
            Column("Recipe"),
            Column("State"),
            Column("Next", spare=True),
            Column("Due"),
            Column("Bars", number=True, spare=True),
        ),
        rows=tuple(_row(batch) for batch in batches[:SHOWN]),
        empty="Plan a batch from a recipe and a mold; it stays here until its bars are cured.",
        more="/api/v1/batches/",
    )


def _row(batch: Batch) -> tuple[str | Cell, ...]:
    state = BatchState(batch.state)
    due = batch.cure_ready_on if state is BatchState.CUT else batch.planned_on
    bars = batch.bars_planned if batch.bars_good is None else batch.bars_good
    return (
        Cell(batch.code, href=reverse("batch-sheet-page", args=[batch.code])),
        batch.version.formula.name,
        Cell(state.label.lower(), state=State.GOOD if state is BatchState.CUT else State.SOON),
        _NEXT[state],
        due.isoformat() if due else "",
        str(bars) if bars else "",
    )
