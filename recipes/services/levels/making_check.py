"""What a formula says of how it is made: its levels, its least batch, and when it is ready."""

from collections.abc import Sequence

from recipes.domain.weighing import check_weight
from recipes.errors import FormulaRefusal
from recipes.models.formulas.formulas import FormulaKind, FormulaLine, FormulaVersion
from recipes.queries.levels.explosion import production_below
from recipes.services.levels.explosion import refuse_cycle
from studio.foundation.errors import Faults


def check_making(version: FormulaVersion, rows: Sequence[FormulaLine]) -> None:
    """Refuse a version that would need what it makes, or soap that is to be ready like a blend.

    Raises ProductionCycle with the path, FormulaRefusal. Two queries for each level below.
    """
    if version.ready_days and version.formula.kind == FormulaKind.SOAP:
        raise FormulaRefusal(
            "Soap cures; the days until it is ready are those of a blend.", field="ready_days"
        )
    alkalis = (version.naoh, version.koh, version.masterbatch, version.water)
    materials = [row.material for row in rows]
    materials += [material for material in alkalis if material is not None]
    refuse_cycle(version.formula, materials, production_below(materials))


def check_least_make(kind: str, least_make: int | None) -> None:
    """Refuse a least batch that is not a mass, or of soap. Raises FormulaRefusal."""
    if least_make is None:
        return
    if kind == FormulaKind.SOAP:
        raise FormulaRefusal("Only a blend has a least batch.", field="least_make")
    faults = Faults()
    check_weight(faults, least_make, "least_make", least=1)
    faults.raise_if_any(FormulaRefusal)
