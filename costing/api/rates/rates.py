"""Rates of labor and overhead, fees of selling, and what rates that came late add to batches."""

from typing import Any, ClassVar

from django.utils import timezone
from django_filters import rest_framework as filters
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from costing.api.rows import LOOK, SET, DatedViewSet, described_by
from costing.models.bar_cost.conversion import Conversion, LateConversion
from costing.models.rates.rates import RATE_KINDS, Fee, Rate
from costing.queries.bar_cost.late_rates import WaitingBatch, waiting_batches
from costing.services.bar_cost.late_rates import post_late_rates
from costing.services.rates.rates import FeeDescription, RateDescription, save_fee, save_rate
from studio.web.api.answers import AnswerSerializer
from studio.web.api.callers import caller
from studio.web.api.lists.filtering import Filters, by_code, day
from studio.web.api.serializers import STAMPS, StrictModelSerializer, StrictSerializer
from studio.web.api.verbs import verb
from studio.web.api.viewsets import StudioViewSet
from studio.web.permissions import Rules
from studio.web.serializer_fields.named import CodeField
from studio.web.serializer_fields.numbers import MoneyField, ShareField


class RateSerializer(StrictModelSerializer[Rate]):
    """One rate from a day on: of labor by the hour, of overhead by the batch or labor hour."""

    amount = MoneyField(help_text="By the hour, or by the batch.")

    class Meta:
        model = Rate
        fields = ("id", *described_by(RateDescription), *STAMPS)
        read_only_fields = STAMPS
        validators: ClassVar[list[Any]] = []  # the service refuses a day that is taken


class RateFilter(Filters):
    """Rates by kind and by the day from which they hold (both ends inclusive)."""

    kind = filters.ChoiceFilter(choices=RATE_KINDS)
    effective_from = day("effective_from", "exact")
    effective_since = day("effective_from", "gte")
    effective_until = day("effective_from", "lte")


class RateViewSet(DatedViewSet):
    """What an hour of labor and the overhead cost, and since when.

    A batch is costed with the rates of the day of its pour. Finished batches keep what they were
    costed with, whatever becomes of the rates.
    """

    queryset = Rate.objects.order_by("id")
    serializer_class = RateSerializer
    filterset_class = RateFilter
    describe = RateDescription
    save = save_rate


class FeeSerializer(StrictModelSerializer[Fee]):
    """What a card or a market takes of sales to a tier (null: to all), from a day on."""

    code = CodeField()
    tier = CodeField(required=False, allow_null=True)
    share = ShareField(required=False, help_text="Of what is paid.")
    fixed_per_sale = MoneyField(required=False, help_text="For each sale.")

    class Meta:
        model = Fee
        fields = ("id", *described_by(FeeDescription), *STAMPS)
        read_only_fields = STAMPS
        validators: ClassVar[list[Any]] = []  # the service refuses a day that is taken


class FeeFilter(Filters):
    """Fees by code, tier, and the day from which they hold."""

    code = filters.CharFilter()
    tier = by_code("tier")
    effective_from = day("effective_from", "exact")


class FeeViewSet(DatedViewSet):
    """Fees of selling, and since when. A fee of a tier holds in place of that of all.

    They are no part of what stock costs; floors and margins of their tier bear them.
    """

    queryset = Fee.objects.select_related("tier").order_by("id")
    serializer_class = FeeSerializer
    filterset_class = FeeFilter
    describe = FeeDescription
    save = save_fee


class SinceSerializer(StrictSerializer):
    """Batches that were poured on that day or later."""

    since = serializers.DateField(input_formats=["%Y-%m-%d"])


class AskedSinceSerializer(StrictSerializer):
    """The same; without a day, all of them."""

    since = serializers.DateField(input_formats=["%Y-%m-%d"], required=False)


class WaitingBatchSerializer(AnswerSerializer):
    """Labor and overhead that the rates that are there now would add, and where they would go: on
    what is left of the lot, to an unusual loss of bars, and to what had left the lot already
    (`variance`, an expense). `missing` are kinds of rates that the batch waits for still, and
    `minutes_missing` whether it waits for minutes of labor that nobody told: a labor standard since
    the day of its pour says them."""

    shows = WaitingBatch
    says = (
        *("batch.code as batch", "poured_on", "late.cost", "late.on_lot", "late.expensed"),
        *("late.variance", "can_be_posted as can_be_entered", "missed as missing"),
        "untold as minutes_missing",
    )


class EnteredSerializer(AnswerSerializer):
    """Labor and overhead that came late and was entered, on which day and by whom; and where it
    went, as of a batch that waits."""

    shows = LateConversion
    says = (
        *("conversion.batch.code as batch", "poured_on", "cost", "on_lot", "expensed"),
        *("variance", "on", "by.username as by"),
    )
    poured_on = serializers.DateField(source="conversion.batch.poured_on")


class WaitingSerializer(StrictSerializer):
    """Batches that wait for a rate, the oldest pour first."""

    batches = WaitingBatchSerializer(many=True)


class LateRatesSerializer(StrictSerializer):
    """What was entered, the oldest pour first; empty when no rate had come."""

    entered = EnteredSerializer(many=True)


class LateRatesViewSet(StudioViewSet):
    """Labor and overhead of batches that were costed before their rates or minutes were known."""

    queryset = Conversion.objects.none()
    serializer_class = WaitingSerializer
    rules: ClassVar[Rules] = {"waiting": LOOK}
    known_query: ClassVar = {"waiting": ("since",)}

    @extend_schema(parameters=[AskedSinceSerializer])
    def waiting(self, request: Request) -> Response:
        """Batches whose labor or overhead is not known, and what entering would add."""
        query = AskedSinceSerializer(data=request.query_params.dict())
        query.is_valid(raise_exception=True)
        found = waiting_batches(since=query.validated_data.get("since"))
        return self.answer({"batches": found})

    @verb(SET, given=SinceSerializer, answer=LateRatesSerializer, detail=False)
    def enter(self, request: Request, given: Any) -> Any:
        """Enter what was not known on batches poured since a day; again, it adds nothing."""
        made = post_late_rates(since=given["since"], on=timezone.localdate(), by=caller(request))
        return {"entered": made}
