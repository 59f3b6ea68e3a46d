"""Recipes to look at in the admin site; nothing is changed here."""

from recipes.models.bench.batches import Batch, BatchLine
from recipes.models.formulas.formulas import Formula, FormulaLine, FormulaVersion
from recipes.models.molds.molds import Mold
from recipes.models.scales.scales import Scale
from studio.web.read_only_admin import lines_of, look_only

VERSIONS = lines_of(
    FormulaVersion,
    "number superfat lye_concentration koh_share frozen_at",
    show_change_link=True,
)

look_only(Mold, "code name shape cavities active", filters="shape active", search="code name")
look_only(Scale, "code name step capacity active", filters="active", search="code name")
look_only(
    Formula,
    "code name kind active",
    filters="kind active",
    search="code name",
    lines=(VERSIONS,),
)
look_only(
    FormulaVersion,
    "formula number superfat lye_concentration frozen_at",
    lines=(lines_of(FormulaLine, "position material basis amount stage portion"),),
)
look_only(
    Batch,
    "code version state planned_on bars_planned bars_good",
    filters="state",
    search="code version__formula__code",
    lines=(lines_of(BatchLine, "position part material stage planned actual"),),
)
