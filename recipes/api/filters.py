"""Filters of the recipes' lists; a value that cannot be read is refused, never ignored."""

from django_filters import rest_framework as filters

from recipes.models.bench.batches import Batch, BatchState
from recipes.models.formulas.formulas import Formula, FormulaKind
from recipes.models.molds.molds import Mold, MoldShape
from studio.web.api.lists.filtering import Filters, YesNoFilter


class MoldFilters(Filters):
    """Molds by shape."""

    shape = filters.ChoiceFilter(choices=MoldShape.choices)
    active = YesNoFilter()

    class Meta:
        model = Mold
        fields = ()


class FormulaFilters(Filters):
    """Formulas by what they make."""

    kind = filters.ChoiceFilter(choices=FormulaKind.choices)
    active = YesNoFilter()

    class Meta:
        model = Formula
        fields = ()


class BatchFilters(Filters):
    """Batches by state, formula, mold and planned day (both ends inclusive)."""

    state = filters.ChoiceFilter(choices=BatchState.choices)
    formula = filters.CharFilter(field_name="version__formula__code")
    mold = filters.CharFilter(field_name="mold__code")
    planned_from = filters.DateFilter(field_name="planned_on", lookup_expr="gte")
    planned_to = filters.DateFilter(field_name="planned_on", lookup_expr="lte")

    class Meta:
        model = Batch
        fields = ()
