"""Rates of labor and overhead, and fees of selling, for those who may see costs."""

from typing import Any, ClassVar

from django_filters import rest_framework as filters

from costing.api.named import CodeField
from costing.domain.rates.rates import RateKind
from costing.models.rates.rates import RATE_KINDS, Fee, Rate
from costing.services.rates.rates import FeeDescription, RateDescription, save_fee, save_rate
from studio.foundation.roles import Capability
from studio.web.api.callers import caller
from studio.web.api.lists.filtering import Filters, by_code
from studio.web.api.serializers import StrictModelSerializer
from studio.web.api.viewsets import MasterViewSet
from studio.web.permissions import Rules
from studio.web.serializer_fields.numbers import MoneyField, ShareField

DESCRIBED = ("kind", "amount", "effective_from")
STAMPS = ("revision", "created_at", "updated_at")
LOOK = (Capability.READ, Capability.SEE_COSTS)
SET = (Capability.PRICE, Capability.SEE_COSTS)
ISO_DAY = ["%Y-%m-%d"]
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
    effective_from = filters.DateFilter(input_formats=ISO_DAY)
    effective_since = filters.DateFilter(
        field_name="effective_from", lookup_expr="gte", input_formats=ISO_DAY
    )
    effective_until = filters.DateFilter(
        field_name="effective_from", lookup_expr="lte", input_formats=ISO_DAY
    )

    class Meta:
        model = Rate
        fields = ()


class RateViewSet(MasterViewSet):
    """What an hour of labor and the overhead cost, and since when.

    A batch is costed with the rates of the day of its pour. Finished batches keep what they were
    costed with, whatever becomes of the rates.
    """

    queryset = Rate.objects.order_by("id")
    serializer_class = RateSerializer
    filterset_class = RateFilter
    lookup_field = "id"
    ordering = ("id",)
    rules: ClassVar[Rules] = {
        "list": LOOK,
        "retrieve": LOOK,
        "create": SET,
        "update": SET,
        "partial_update": SET,
    }

    def create_row(self, given: Any, serializer: Any) -> Rate:
        return save_rate(_described(given), by=caller(self.request))

    def change_row(self, row: Rate, given: Any, serializer: Any) -> Rate:
        kept = {name: getattr(row, name) for name in DESCRIBED}
        return save_rate(_described({**kept, **given}), rate_id=row.pk, by=caller(self.request))


def _described(given: Any) -> RateDescription:
    return RateDescription(
        kind=RateKind(given["kind"]),
        amount=given["amount"],
        effective_from=given["effective_from"],
    )


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
    effective_from = filters.DateFilter(input_formats=ISO_DAY)

    class Meta:
        model = Fee
        fields = ()


class FeeViewSet(MasterViewSet):
    """Fees of selling, and since when. A fee of a tier holds in place of that of all.

    They are no part of what stock costs; floors and margins of their tier bear them.
    """

    queryset = Fee.objects.select_related("tier").order_by("id")
    serializer_class = FeeSerializer
    filterset_class = FeeFilter
    lookup_field = "id"
    ordering = ("id",)
    rules: ClassVar[Rules] = {
        "list": LOOK,
        "retrieve": LOOK,
        "create": SET,
        "update": SET,
        "partial_update": SET,
    }

    def create_row(self, given: Any, serializer: Any) -> Fee:
        return save_fee(FeeDescription(**given), by=caller(self.request))

    def change_row(self, row: Fee, given: Any, serializer: Any) -> Fee:
        kept: dict[str, Any] = {}
        if serializer.partial:
            kept = {name: getattr(row, name) for name in FEE_DESCRIBED if name not in given}
            if "tier" in kept:
                kept["tier"] = row.tier.code if row.tier else None
        return save_fee(FeeDescription(**kept, **given), fee_id=row.pk, by=caller(self.request))
