"""Which recipes a material goes into, for its page on the shelf."""

from django.db.models import Max, OuterRef, Q, Subquery

from inventory.queries.catalog.where_used import Use
from recipes.models.formulas.formulas import FormulaVersion

_AS_LYE = ("naoh", "koh", "masterbatch", "water")


def recipes_with(code: str) -> list[Use]:
    """Recipes in use of which the newest version takes the material, by name. One query."""
    newest = (
        FormulaVersion.objects.filter(formula=OuterRef("formula"))
        .values("formula")
        .annotate(last=Max("number"))
        .values("last")
    )
    takes = Q(lines__material__code=code)
    for role in _AS_LYE:
        takes |= Q(**{f"{role}__code": code})
    versions = (
        FormulaVersion.objects.filter(takes, number=Subquery(newest), formula__active=True)
        .select_related("formula")
        .order_by("formula__name", "formula_id")
        .distinct()
    )
    return [
        Use(
            name=version.formula.name,
            code=version.formula.code,
            page="recipe-page",
            note=f"version {version.number}",
        )
        for version in versions
    ]
