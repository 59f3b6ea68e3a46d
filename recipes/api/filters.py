"""Filters of the recipes' lists; a value that cannot be read is refused, never ignored."""

from typing import Any

from django_filters import rest_framework as filters

from recipes.models import Batch, BatchState, Formula, FormulaKind, Mold
from recipes.models.molds import MoldShape


class YesNoFilter(filters.ChoiceFilter):
    """Exactly `true` or `false`: the library's own boolean filter ignores anything else."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(choices=(("true", "true"), ("false", "false")), **kwargs)

    def filter(self, qs: Any, value: Any) -> Any:
        return super().filter(qs, {"true": True, "false": False}.get(value, value))


class MoldFilters(filters.FilterSet):
    """Molds by shape."""

    shape = filters.ChoiceFilter(choices=MoldShape.choices)
    active = YesNoFilter()

    class Meta:
        model = Mold
        fields = ()


class FormulaFilters(filters.FilterSet):
    """Formulas by what they make."""

    kind = filters.ChoiceFilter(choices=FormulaKind.choices)
    active = YesNoFilter()

    class Meta:
        model = Formula
        fields = ()


class BatchFilters(filters.FilterSet):
    """Batches by state, formula, mold and planned day (both ends inclusive)."""

    state = filters.ChoiceFilter(choices=BatchState.choices)
    formula = filters.CharFilter(field_name="version__formula__code")
    mold = filters.CharFilter(field_name="mold__code")
    planned_from = filters.DateFilter(field_name="planned_on", lookup_expr="gte")
    planned_to = filters.DateFilter(field_name="planned_on", lookup_expr="lte")

    class Meta:
        model = Batch
        fields = ()
