"""The price list: prices by product, tier and quantity, each from a day on."""

from typing import Any, ClassVar

from django.utils import timezone
from django_filters import rest_framework as filters
from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_view
from rest_framework import serializers
from rest_framework.request import Request

from costing.api.rows import LOOK, SET, DatedViewSet
from costing.errors import PriceTaken
from costing.models.prices.prices import PriceEntry
from costing.services.prices.prices import (
    MOST_QUANTITY,
    MOST_TOGETHER,
    PriceDescription,
    change_price,
    set_prices,
)
from studio.foundation.errors import Fault
from studio.web.api.callers import caller
from studio.web.api.histories import HistoryViewSet
from studio.web.api.lists.filtering import Filters, by_code, day
from studio.web.api.serializers import StrictModelSerializer, StrictSerializer
from studio.web.api.verbs import verb
from studio.web.permissions import Rules
from studio.web.serializer_fields.named import CodeField
from studio.web.serializer_fields.numbers import MoneyField

FIXED = ("product", "tier", "from_quantity", "effective_from")
ANSWERED = ("override_floor", "override_by", "revision", "created_at", "updated_at", "changed_by")


class PriceEntrySerializer(StrictModelSerializer[PriceEntry]):
    """The price of a bar to a tier from a quantity on, as the tier writes its prices.

    A new price is a new entry from a day on; those before it stay. An entry holds until the next
    one of its product, tier and quantity, or until `ended_on`, on which it holds no more. With
    `override_reason` an owner keeps a price that is under its floor.
    """

    product = CodeField()
    tier = CodeField()
    from_quantity = serializers.IntegerField(
        min_value=1, max_value=MOST_QUANTITY, required=False, help_text="1, if left out."
    )
    price = MoneyField()
    floor = MoneyField(
        required=False, allow_null=True, help_text="In place of the one that the cost gives."
    )
    ended_on = serializers.DateField(required=False, allow_null=True)
    override_reason = serializers.CharField(max_length=400, required=False, allow_blank=True)
    override_floor = MoneyField(read_only=True, allow_null=True)
    override_by = serializers.CharField(
        source="override_by.username", read_only=True, allow_null=True, default=None
    )

    class Meta:
        model = PriceEntry
        fields = ("id", *FIXED, "price", "floor", "ended_on", "override_reason", *ANSWERED)
        read_only_fields = ANSWERED
        validators: ClassVar[list[Any]] = []  # the service refuses a day that is taken


class PriceFilter(Filters):
    """Prices by what they are for and by the day from which they hold."""

    product = by_code("product")
    tier = by_code("tier")
    from_quantity = filters.NumberFilter()
    effective_since = day("effective_from", "gte")
    effective_until = day("effective_from", "lte")


class SetPriceSerializer(StrictSerializer):
    """One price of several that are set together."""

    product = serializers.CharField(max_length=40)
    tier = serializers.CharField(max_length=40)
    from_quantity = serializers.IntegerField(min_value=1, max_value=MOST_QUANTITY, default=1)
    price = MoneyField()
    floor = MoneyField(required=False, allow_null=True)
    effective_from = serializers.DateField()
    ended_on = serializers.DateField(required=False, allow_null=True)


class SetPricesSerializer(StrictSerializer):
    """Prices that are kept together or not at all, as when a whole ladder is raised."""

    entries = SetPriceSerializer(many=True, max_length=MOST_TOGETHER)  # type: ignore[call-arg]
    override_reason = serializers.CharField(max_length=400, required=False, allow_blank=True)


class KeptPricesSerializer(StrictSerializer):
    """The prices as they are kept."""

    entries = PriceEntrySerializer(many=True, read_only=True)


class PriceEntryViewSet(DatedViewSet):
    """The price list with its history. Margins and floors stand in the price ladder."""

    queryset = PriceEntry.objects.select_related("product", "tier", "override_by").order_by("id")
    serializer_class = PriceEntrySerializer
    filterset_class = PriceFilter
    rules: ClassVar[Rules] = {**DatedViewSet.rules}

    def create_row(self, given: Any, serializer: Any) -> PriceEntry:
        reason = given.pop("override_reason", "")
        made = set_prices(
            [PriceDescription(**given)], override_reason=reason, by=caller(self.request)
        )
        return made[0]

    def change_row(self, row: PriceEntry, given: Any, serializer: Any) -> PriceEntry:
        _refuse_moving(row, given)
        blank = {"floor": None, "ended_on": None}
        kept = {name: getattr(row, name) for name in blank} if serializer.partial else blank
        values = {"price": row.price, **kept, **given}
        return change_price(
            row.pk,
            on=timezone.localdate(),
            price=values["price"],
            floor=values["floor"],
            ended_on=values["ended_on"],
            override_reason=values.get("override_reason", ""),
            by=caller(self.request),
        )

    @verb(SET, given=SetPricesSerializer, answer=KeptPricesSerializer, status=201, detail=False)
    def together(self, request: Request, given: Any) -> Any:
        """Set several prices at once; they are checked as the ladder that they make."""
        kept = set_prices(
            [PriceDescription(**each) for each in given["entries"]],
            override_reason=given.get("override_reason", ""),
            by=caller(request),
        )
        return {"entries": kept}


@extend_schema_view(
    list=extend_schema(parameters=[OpenApiParameter("id", int, OpenApiParameter.PATH)])
)
class PriceHistoryViewSet(HistoryViewSet):
    """Changes of one price."""

    model: ClassVar = PriceEntry
    found_by: ClassVar = "id"
    rules: ClassVar[Rules] = {"list": LOOK}


def _refuse_moving(row: PriceEntry, given: Any) -> None:
    """What a price is for, and from when, is what it is: another one is a new entry."""
    was = {
        "product": row.product.code,
        "tier": row.tier.code,
        "from_quantity": row.from_quantity,
        "effective_from": row.effective_from,
    }
    faults = [
        Fault("price-taken", "This stays as it is: set a new price in its place.", name)
        for name in FIXED
        if name in given and given[name] != was[name]
    ]
    if faults:
        raise PriceTaken(faults=faults)
