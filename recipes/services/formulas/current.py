"""Which version of a recipe is made and sold: the first at once, a later one when it is chosen."""

from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from recipes.models.formulas.formulas import Formula, FormulaVersion
from recipes.queries.formulas.formulas import version_by_number
from recipes.services.levels.explosion import check_making
from studio.foundation.doers import doer
from studio.foundation.histories import tell
from studio.models import Unchanged, lock_kept
from studio.work.keeping import named

if TYPE_CHECKING:
    from django.contrib.auth.models import User


def keep_first_current(formula: Formula, version: FormulaVersion, *, by: "User | None") -> None:
    """The first version of a locked recipe is current at once; a later one is left a trial."""
    if formula.current_id is None:
        _keep(formula, version, by=by)


@transaction.atomic
def make_current(
    version: FormulaVersion, *, unchanged: Unchanged | None = None, by: "User | None" = None
) -> Formula:
    """Let products, orders, costs and plans follow a version of a recipe from now on.

    One that was current before may be chosen again; one that is current stays so, with its day and
    name. `unchanged` is shown the locked recipe. Raises ProductionCycle when it would now need what
    it makes.
    """
    formula = lock_kept(Formula, version.formula_id, unchanged)
    if formula.current_id == version.pk:
        return formula
    version = version_by_number(formula.code, version.number)
    check_making(version, list(version.lines.select_related("material")))
    formula.revision += 1
    _keep(formula, version, by=by)
    return formula


def _keep(formula: Formula, version: FormulaVersion, *, by: "User | None") -> None:
    before = "" if formula.current is None else str(formula.current.number)
    formula.current, formula.current_since = version, timezone.now()
    formula.current_by = by or doer()
    now = str(version.number)
    tell(formula, told=[("Current version", before, now)], reason=f"version {now} made current")
    named(formula, by)
    fields = ("current", "current_since", "current_by", "changed_by", "revision", "updated_at")
    formula.save(update_fields=fields)
