"""Rates of labor and overhead, fees of selling, and what rates that came late add to batches."""

from typing import Any, ClassVar

from django_filters import rest_framework as filters

from costing.api.rows import STAMPS, DatedViewSet
from costing.models.rates.rates import RATE_KINDS, Fee, Rate
from costing.services.rates.rates import FeeDescription, RateDescription, save_fee, save_rate
from studio.web.api.lists.filtering import Filters, by_code, day
from studio.web.api.serializers import StrictModelSerializer
from studio.web.serializer_fields.named import CodeField
from studio.web.serializer_fields.numbers import MoneyField, ShareField

DESCRIBED = ("kind", "amount", "effective_from")
FEE_DESCRIBED = ("code", "name", "tier", "share", "fixed_per_sale", "effective_from")


class RateSerializer(StrictModelSerializer[Rate]):
    """One rate from a day on: of labor by the hour, of overhead by the batch or labor hour."""

    amount = MoneyField(help_text="By the hour, or by the batch.")

    class Meta:
        model = Rate
        fields = ("id", *DESCRIBED, *STAMPS)
        read_only_fields = STAMPS
        validators: ClassVar[list[Any]] = []  # the service refuses a day that is taken


class RateFilter(Filters):
    """Rates by kind and by the day from which they hold (both ends inclusive)."""

    kind = filters.ChoiceFilter(choices=RATE_KINDS)
    effective_from = day("effective_from", "exact")
    effective_since = day("effective_from", "gte")
    effective_until = day("effective_from", "lte")

    class Meta:
        model = Rate
        fields = ()


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
        fields = ("id", *FEE_DESCRIBED, *STAMPS)
        read_only_fields = STAMPS
        validators: ClassVar[list[Any]] = []  # the service refuses a day that is taken


class FeeFilter(Filters):
    """Fees by code, tier, and the day from which they hold."""

    code = filters.CharFilter()
    tier = by_code("tier")
    effective_from = day("effective_from", "exact")

    class Meta:
        model = Fee
        fields = ()


class FeeViewSet(DatedViewSet):
    """Fees of selling, and since when. A fee of a tier holds in place of that of all.

    They are no part of what stock costs; floors and margins of their tier bear them.
    """

    queryset = Fee.objects.select_related("tier").order_by("id")
    serializer_class = FeeSerializer
    filterset_class = FeeFilter
    describe = FeeDescription
    save = save_fee
