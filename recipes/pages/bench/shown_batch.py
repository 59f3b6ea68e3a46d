"""A batch in the words of a page: what comes next, what it holds, what happened."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from recipes.domain.bench.cautions import Caution
from recipes.models.bench.batches import Batch, BatchState
from recipes.queries.bench.weighings import by_position
from recipes.queries.cure.batch_history import Happening, history_of, making_for, readings_of
from recipes.services.bench.as_made import Actuals, actuals_for
from recipes.services.bench.needs import BatchShelf, batch_rows, cautions_of, held_lots, shelf_for
from recipes.services.molds.drawings import drawing_of_made
from recipes.services.scaling.portions import Portions, portions_of
from studio.foundation.drawing.canvas import Chart
from studio.foundation.errors import Refusal

STATES: Mapping[BatchState, str] = MappingProxyType(
    {
        BatchState.PLANNED: "planned",
        BatchState.RESERVED: "reserved",
        BatchState.POURED: "in the mold",
        BatchState.CUT: "curing",
        BatchState.CURED: "released",
        BatchState.CANCELLED: "called off",
    }
)
_NEXT = {
    BatchState.PLANNED: "Reserve",
    BatchState.RESERVED: "Weigh and pour",
    BatchState.POURED: "Cut",
    BatchState.CUT: "Release bars",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownBatch:
    """All that the page of a batch shows. `shelf` is None once nothing more is needed of it."""

    batch: Batch
    state: str
    actuals: Actuals
    shelf: BatchShelf | None
    portions: Portions
    drawing: Chart | None
    cautions: tuple[Caution, ...]
    making: Sequence[Batch]
    history: Sequence[Happening]

    @property
    def is_soap(self) -> bool:
        """Whether it is poured and cut; a blend is only mixed."""
        return bool(self.batch.fats)

    @property
    def to_weigh(self) -> int:
        """How many lines are weighed before the pour."""
        return sum(1 for line in self.actuals.lines if not line.row.is_packing)

    @property
    def weighed(self) -> int:
        """How many of them are weighed."""
        return sum(
            1 for line in self.actuals.lines if not line.row.is_packing and line.actual is not None
        )

    @property
    def missing_made(self) -> bool:
        """Whether something that is made here is short."""
        return any(
            line.shelf.short and line.material.kind == "intermediate"
            for line in (self.shelf.lines if self.shelf else ())
        )

    @property
    def to_make(self) -> Sequence[Batch]:
        """Batches planned for this one that are not made yet."""
        return [one for one in self.making if one.state in ("planned", "reserved")]


def next_of(batch: Batch) -> str:
    """The verb that comes next for a batch; empty when nothing does."""
    state = BatchState(batch.state)
    if state is BatchState.RESERVED and not batch.fats:
        return "Weigh and mix"
    return _NEXT.get(state, "")


def show_batch(batch: Batch) -> ShownBatch:
    """A batch that is loaded, as its page shows it. A fixed number of queries."""
    rows, held, readings = batch_rows(batch), held_lots(batch), readings_of(batch)
    standing = by_position(one for one in readings if one.set_aside_at is None)
    is_open = batch.state in (BatchState.PLANNED, BatchState.RESERVED)
    portions = portions_of(batch)
    return ShownBatch(
        batch=batch,
        state=STATES[BatchState(batch.state)],
        actuals=actuals_for(batch, rows, held, standing),
        shelf=shelf_for(batch, rows, held, standing) if is_open else None,
        portions=portions,
        drawing=_drawing(batch, portions),
        cautions=cautions_of(batch) if is_open else (),
        making=making_for(batch) if is_open else (),
        history=history_of(batch, readings),
    )


def _drawing(batch: Batch, portions: Portions) -> Chart | None:
    if batch.mold is None or not batch.fats:
        return None
    try:
        return drawing_of_made(batch, portions)
    except Refusal:
        # A mold that was only measured has no shape to draw.
        return None
