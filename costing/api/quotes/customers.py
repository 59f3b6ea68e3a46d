"""Customers. Makers see who gets the bars; what customers pay is for those who may see costs."""

from typing import Any

from django_filters import rest_framework as filters
from rest_framework import serializers

from costing.api.rows import DescribedRowViewSet, described_by
from costing.models.quotes.quotes import Customer
from costing.services.quotes.customers import CustomerDescription, save_customer
from studio.web.api.lists.filtering import Filters, YesNoFilter, by_code
from studio.web.api.serializers import STAMPS, StrictModelSerializer
from studio.web.serializer_fields.numbers import ShareField


class TierCodeField(serializers.CharField):
    """A step of the price ladder, by its code."""

    def to_representation(self, value: Any) -> str:
        return str(getattr(value, "code", value))


class CustomerSerializer(StrictModelSerializer[Customer]):
    """Somebody who buys bars, at the prices of a tier less a discount."""

    cost_fields = ("discount",)
    tier = TierCodeField(max_length=40)
    discount = ShareField(required=False, help_text="Off the tier's prices.")
    address = serializers.CharField(
        max_length=400, required=False, allow_blank=True, help_text="As it stands on letters."
    )
    terms = serializers.CharField(
        max_length=400,
        required=False,
        allow_blank=True,
        help_text="In place of the words for `terms_days` on letters.",
    )

    class Meta:
        model = Customer
        fields = (*described_by(CustomerDescription), *STAMPS)
        read_only_fields = STAMPS


class CustomerFilter(Filters):
    """Customers."""

    tier = by_code("tier")
    active = YesNoFilter()
    name_contains = filters.CharFilter(field_name="name", lookup_expr="icontains")


class CustomerViewSet(DescribedRowViewSet):
    """Who buys. What was sent to a customer before stays as it was sent."""

    queryset = Customer.objects.select_related("tier").order_by("code")
    serializer_class = CustomerSerializer
    filterset_class = CustomerFilter
    describe = CustomerDescription
    save = save_customer
