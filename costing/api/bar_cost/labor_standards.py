"""Labor standards, for those who may see costs."""

from typing import Any, ClassVar

from django_filters import rest_framework as filters
from rest_framework import serializers

from costing.api.named import CodeField
from costing.models.bar_cost.conversion import LaborStandard
from costing.services.bar_cost.labor_standards import (
    LONGEST_SECONDS,
    MOST_ENERGY_WH,
    StandardDescription,
    save_standard,
)
from recipes.domain.weighing import MOST_BARS
from recipes.services.formulas.version_check import MOST_MINUTES
from studio.foundation.roles import Capability
from studio.web.api.callers import caller
from studio.web.api.lists.filtering import Filters, by_code
from studio.web.api.serializers import StrictModelSerializer
from studio.web.api.viewsets import MasterViewSet
from studio.web.permissions import Rules

ISO_DAY = ["%Y-%m-%d"]
DESCRIBED = (
    "formula",
    "effective_from",
    "mix_minutes",
    "mix_seconds_per_bar",
    "cut_minutes",
    "cut_seconds_per_bar",
    "wrap_minutes",
    "wrap_seconds_per_bar",
    "energy_wh",
    "bars_per_rack",
)
STAMPS = ("revision", "created_at", "updated_at")
LOOK = (Capability.READ, Capability.SEE_COSTS)
SET = (Capability.PRICE, Capability.SEE_COSTS)


class MinutesField(serializers.IntegerField):
    """Minutes of a task for each batch, whatever its size."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=0, max_value=MOST_MINUTES, required=False, **kwargs)


class SecondsField(serializers.IntegerField):
    """Seconds of a task for each bar."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=0, max_value=LONGEST_SECONDS, required=False, **kwargs)


class LaborStandardSerializer(StrictModelSerializer[LaborStandard]):
    """What a batch is expected to take from a day on: of one recipe, or of any without its own.

    Energy is in watt-hours a batch. Cured bars stand on racks of `bars_per_rack`, all on one where
    that is null.
    """

    formula = CodeField(required=False, allow_null=True)
    mix_minutes = MinutesField()
    mix_seconds_per_bar = SecondsField()
    cut_minutes = MinutesField()
    cut_seconds_per_bar = SecondsField()
    wrap_minutes = MinutesField()
    wrap_seconds_per_bar = SecondsField()
    energy_wh = serializers.IntegerField(min_value=0, max_value=MOST_ENERGY_WH, required=False)
    bars_per_rack = serializers.IntegerField(
        min_value=1, max_value=MOST_BARS, required=False, allow_null=True
    )

    class Meta:
        model = LaborStandard
        fields = ("id", *DESCRIBED, *STAMPS)
        read_only_fields = STAMPS
        validators: ClassVar[list[Any]] = []  # the service refuses a day that is taken


class LaborStandardFilter(Filters):
    """Standards by recipe and by the day from which they hold."""

    formula = by_code("formula")
    effective_from = filters.DateFilter(input_formats=ISO_DAY)

    class Meta:
        model = LaborStandard
        fields = ()


class LaborStandardViewSet(MasterViewSet):
    """How long a batch and a bar are expected to take, by task, and since when.

    Plans and replacement costs reckon with the newest standard of the day; batches are costed with
    the minutes that they really took.
    """

    queryset = LaborStandard.objects.select_related("formula").order_by("id")
    serializer_class = LaborStandardSerializer
    filterset_class = LaborStandardFilter
    lookup_field = "id"
    ordering = ("id",)
    rules: ClassVar[Rules] = {
        "list": LOOK,
        "retrieve": LOOK,
        "create": SET,
        "update": SET,
        "partial_update": SET,
    }

    def create_row(self, given: Any, serializer: Any) -> LaborStandard:
        return save_standard(StandardDescription(**given), by=caller(self.request))

    def change_row(self, row: LaborStandard, given: Any, serializer: Any) -> LaborStandard:
        kept: dict[str, Any] = {}
        if serializer.partial:
            kept = {name: getattr(row, name) for name in DESCRIBED if name not in given}
            if "formula" in kept:
                kept["formula"] = row.formula.code if row.formula else None
        described = StandardDescription(**kept, **given)
        return save_standard(described, standard_id=row.pk, by=caller(self.request))
