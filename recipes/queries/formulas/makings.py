"""Which recipes make a material, and what they make of it."""

from django.db.models import Q

from inventory.domain.catalog.materials import MaterialKind
from inventory.queries.catalog.makers import Making
from recipes.domain.chemistry.blends import alkali_in
from recipes.models.formulas.formulas import Formula, FormulaKind
from recipes.queries.formulas.formulas import load_formula


def recipes_making(material_id: int) -> list[Making]:
    """The recipes whose product or poured soap a material is, each with the alkali of a blend as
    its current version stands. One query, and those of `load_formula` for each blend.
    """
    formulas = Formula.objects.filter(Q(product=material_id) | Q(batter=material_id))
    return [_making(formula, material_id) for formula in formulas.order_by("code")]


def _making(formula: Formula, material_id: int) -> Making:
    words = f"recipe {formula.code}"
    if formula.kind == FormulaKind.BLEND:
        return Making(words=words, kind=MaterialKind.INTERMEDIATE, alkali=_alkali(formula))
    if formula.batter_id == material_id:
        return Making(words=words, kind=MaterialKind.BATTER)
    return Making(words=words, kind=MaterialKind.BAR, counted=True)


def _alkali(formula: Formula) -> str:
    if formula.current_id is None:
        return ""
    return alkali_in(load_formula(code=formula.code).blend)
