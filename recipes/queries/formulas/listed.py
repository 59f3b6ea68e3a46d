"""The recipes as a list shows them."""

from django.db.models import Count, Max, Q, QuerySet

from recipes.models.bench.batches import BatchState
from recipes.models.formulas.formulas import Formula


def formulas_listed() -> "QuerySet[Formula]":
    """Recipes with `newest_version`, `batches_made` and `last_made` (day of the last pour)."""
    made = Q(versions__batches__poured_on__isnull=False) & ~Q(
        versions__batches__state=BatchState.CANCELLED
    )
    return Formula.objects.annotate(
        newest_version=Max("versions__number"),
        batches_made=Count("versions__batches", filter=made),
        last_made=Max("versions__batches__poured_on", filter=made),
    )
