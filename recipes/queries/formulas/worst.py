"""How low the superfat of a version may lie, and what of it was accepted."""

from decimal import Decimal

from recipes.domain.chemistry.safety import SafetyCheck, evaluate
from recipes.domain.formulas.scaled import FatTarget
from recipes.domain.scaling.scaling import scale
from recipes.models.formulas.accepted import AcceptedWorst
from recipes.queries.formulas.formulas import LoadedFormula

#: A version is looked at by itself at 10 kg of fats, to the nanogram: as it is written.
FATS_NG = 10**13


def worst_of(loaded: LoadedFormula) -> SafetyCheck | None:
    """The safety of a version by the values of its materials, no lot being known; None of a blend.

    No query. Raises FormulaRefusal and ScalingRefusal, as scaling it does.
    """
    if loaded.soap is None:
        return None
    temperature = loaded.version.pour_temperature_c
    return evaluate(
        scale(loaded.soap, FatTarget(FATS_NG), pour_temperature_c=temperature, resolution=1)
    )


def lowest_accepted(version: int) -> Decimal | None:
    """The lowest superfat that somebody accepted of a version (id); None for none. One query."""
    standing = AcceptedWorst.objects.filter(version=version, withdrawn_at__isnull=True)
    return standing.order_by("worst").values_list("worst", flat=True).first()


def accepted_of(version: int) -> list[AcceptedWorst]:
    """What was accepted of a version (id) and by whom, the latest first. One query."""
    rows = AcceptedWorst.objects.filter(version=version).select_related("by")
    return list(rows.order_by("-id"))
