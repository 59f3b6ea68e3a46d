"""A plan in the words of a page: what it makes, what is weighed, what the shelf says."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import groupby

from inventory.domain.catalog.materials import MaterialKind
from recipes.domain.bench.cautions import Caution, cautions_for
from recipes.domain.formulas.formula import Notice, Stage
from recipes.domain.molds.molds import fill_height_nm, fill_volume_nl
from recipes.paper.amounts import scale_text, step_text
from recipes.queries.levels.explosion import makers_of
from recipes.queries.molds.molds import cut_of
from recipes.queries.scaling.plans import Plan, PlanLine
from recipes.services.bench.shelf import ShelfLine, batch_cautions
from recipes.services.molds.drawings import drawn_section, milliliters
from recipes.services.scaling.portions import portions_of
from studio.foundation.drawing.canvas import Chart
from studio.foundation.errors import Refusal

STAGES = {
    Stage.FATS: "Fats, weighed and melted together",
    Stage.LYE: "Lye",
    Stage.TRACE: "At trace",
    Stage.PORTION: "Into the color portions",
    Stage.TOP: "On top",
    Stage.PACK: "To pack the bars",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownLine:
    """One thing to weigh or count, with what the shelf has of its material."""

    line: PlanLine
    shelf: ShelfLine | None

    @property
    def short(self) -> int:
        """How much of the material is missing for the whole plan (stock units)."""
        return self.shelf.short if self.shelf else 0

    @property
    def scale(self) -> str:
        """On which scale it is weighed; "" where none is kept, and for pieces."""
        return scale_text(self.line.weighed)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownShort:
    """A material that is short; `maker` is the code of the recipe that makes it here, or ""."""

    line: ShelfLine
    maker: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownStage:
    """What goes in at one stage, under its heading."""

    heading: str
    is_lye: bool
    lines: tuple[ShownLine, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownPlan:
    """All that the scale page shows of a plan."""

    plan: Plan
    on: date
    stages: tuple[ShownStage, ...]
    shortages: tuple[ShownShort, ...]
    drawing: Chart | None
    notices: tuple[Notice, ...]
    cautions: tuple[Caution, ...]

    @property
    def recipe_step(self) -> str:
        """The step that all is rounded to where no scale is kept; "" where one is."""
        scales = self.plan.loaded.scales
        return "" if scales.kept else step_text(scales.step_ng)

    @property
    def covered_on(self) -> date | None:
        """The first day on which all that is short could be there; None when nobody can say."""
        days = [short.line.covered_on for short in self.shortages]
        return max((day for day in days if day is not None), default=None) if all(days) else None


def show_plan(plan: Plan, shelf: Sequence[ShelfLine], *, on: date) -> ShownPlan:
    """A plan and its shelf check as the page shows them. Four queries at most: the layers, and
    the recipes of what is made here and short."""
    by_material = {line.material.pk: line for line in shelf}
    return ShownPlan(
        plan=plan,
        on=on,
        stages=tuple(
            ShownStage(
                heading=STAGES[stage],
                is_lye=stage is Stage.LYE,
                lines=tuple(
                    ShownLine(line=line, shelf=by_material.get(line.material.pk)) for line in lines
                ),
            )
            for stage, lines in groupby(plan.lines, key=lambda line: line.stage)
        ),
        shortages=_shortages(shelf),
        drawing=drawing_of_plan(plan),
        notices=_notices(plan),
        cautions=_cautions(plan),
    )


def _shortages(shelf: Sequence[ShelfLine]) -> tuple[ShownShort, ...]:
    short = [line for line in shelf if line.short]
    made = [line.material.pk for line in short if line.material.kind == MaterialKind.INTERMEDIATE]
    makers = makers_of(made) if made else {}
    return tuple(
        ShownShort(
            line=line,
            maker=makers[line.material.pk].version.formula.code
            if line.material.pk in makers
            else "",
        )
        for line in short
    )


def drawing_of_plan(plan: Plan) -> Chart | None:
    """The plan's mold in section with its layers and fill line; None where it cannot be drawn."""
    mold = plan.wish.mold
    if mold is None or plan.scaled is None:
        return None
    try:
        cut = cut_of(mold)
        volume = fill_volume_nl(cut.mold, plan.wish.fill_height_nm or cut.fill_height_nm)
        return drawn_section(
            mold.name,
            cut.mold,
            fill_height_nm(cut.mold, volume),
            made=portions_of(plan),
            facts=[("To the fill line", milliliters(volume))],
        )
    except Refusal:
        # A mold that was only measured has no shape to draw; its volume stands in the answer.
        return None


def _notices(plan: Plan) -> tuple[Notice, ...]:
    return tuple({notice.message: notice for notice in plan.notices}.values())


def _cautions(plan: Plan) -> tuple[Caution, ...]:
    if plan.scaled is None:
        return batch_cautions((line.material for line in plan.lines), soap=False, stored=False)
    return cautions_for(masterbatch=bool(plan.scaled.masterbatch_ng))
