"""Labor standards, for those who may see costs."""

from typing import Any, ClassVar

from rest_framework import serializers

from costing.api.rows import DatedViewSet, described_by
from costing.models.bar_cost.conversion import LaborStandard
from costing.services.bar_cost.labor_standards import (
    LONGEST_SECONDS,
    MOST_ENERGY_WH,
    StandardDescription,
    save_standard,
)
from recipes.domain.weighing import MOST_BARS
from recipes.services.formulas.version_check import MOST_MINUTES
from studio.web.api.lists.filtering import Filters, by_code, day
from studio.web.api.serializers import STAMPS, StrictModelSerializer
from studio.web.serializer_fields.named import CodeField


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

    The time of some task is stated; tasks that are left out then take none. Energy is in watt-hours
    a batch. Cured bars stand on racks of `bars_per_rack`, all on one where
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
        fields = ("id", *described_by(StandardDescription), *STAMPS)
        read_only_fields = STAMPS
        validators: ClassVar[list[Any]] = []  # the service refuses a day that is taken


class LaborStandardFilter(Filters):
    """Standards by recipe and by the day from which they hold."""

    formula = by_code("formula")
    effective_from = day("effective_from", "exact")


class LaborStandardViewSet(DatedViewSet):
    """How long a batch and a bar are expected to take, by task, and since when.

    Plans and replacement costs reckon with the newest standard of the day; batches are costed with
    the minutes that they really took, and by it for tasks that nobody told the minutes of.
    """

    queryset = LaborStandard.objects.select_related("formula").order_by("id")
    serializer_class = LaborStandardSerializer
    filterset_class = LaborStandardFilter
    describe = StandardDescription
    save = save_standard
