"""What became of a recipe: its versions and the batches made of it."""

from django.db.models import Count, Max, Q, QuerySet

from recipes.models.bench.batches import Batch, BatchState
from recipes.models.formulas.formulas import FormulaVersion


def versions_of(code: str) -> "QuerySet[FormulaVersion]":
    """The versions of a recipe, the newest first, with `made` and `last_made`. One query."""
    poured = Q(batches__poured_on__isnull=False) & ~Q(batches__state=BatchState.CANCELLED)
    return (
        FormulaVersion.objects.filter(formula__code=code)
        .select_related("by")
        .annotate(
            made=Count("batches", filter=poured), last_made=Max("batches__poured_on", filter=poured)
        )
        .order_by("-number")
    )


def latest_batches(code: str, *, most: int) -> list[Batch]:
    """The latest batches of a recipe that are not called off. One query."""
    rows = Batch.objects.filter(version__formula__code=code).exclude(state=BatchState.CANCELLED)
    return list(rows.select_related("version", "mold").order_by("-planned_on", "-id")[:most])
