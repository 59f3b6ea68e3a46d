"""Filters of the inventory's lists."""

from typing import Any

from django.db.models import F, QuerySet
from django_filters import rest_framework as filters

from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.stock.ledger import Verb
from inventory.domain.stock.lots import LotState
from inventory.models.buying.orders import PurchaseOrder
from inventory.models.stock.reservations import ReservationState
from studio.web.api.lists.filtering import Filters, YesNoFilter, by_code, day, one_of


class MaterialFilter(Filters):
    """Materials and their stock."""

    kind = one_of(MaterialKind)
    active = YesNoFilter()
    counted = YesNoFilter()
    name_contains = filters.CharFilter(field_name="name", lookup_expr="icontains")


class SupplierFilter(Filters):
    """Suppliers."""

    active = YesNoFilter()
    name_contains = filters.CharFilter(field_name="name", lookup_expr="icontains")


class OfferFilter(Filters):
    """Offers."""

    supplier = by_code("supplier")
    material = by_code("material")
    active = YesNoFilter()


class LotFilter(Filters):
    """Lots."""

    material = by_code("material")
    kind = one_of(MaterialKind, field_name="material__kind")
    supplier = by_code("supplier")
    supplier_lot = filters.CharFilter()
    location = by_code("location")
    state = one_of(LotState)
    has_stock = YesNoFilter(method="with_stock")
    has_available = YesNoFilter(method="with_available")
    expiring_before = day("best_before", "lt")
    received_from = day("received_on", "gte")
    received_until = day("received_on", "lte")

    def with_stock(self, lots: "QuerySet[Any]", name: str, value: str) -> "QuerySet[Any]":
        """Lots that hold something, or those that are used up."""
        return lots.filter(on_hand__gt=0) if value == "true" else lots.filter(on_hand=0)

    def with_available(self, lots: "QuerySet[Any]", name: str, value: str) -> "QuerySet[Any]":
        """Lots of which something is not reserved, or the others."""
        free = {"on_hand__gt": F("reserved")}
        return lots.filter(**free) if value == "true" else lots.exclude(**free)


class EntryFilter(Filters):
    """Entries of the ledger."""

    lot = by_code("lot")
    material = by_code("lot__material")
    reference = filters.CharFilter()
    verb = one_of(Verb)
    on_from = day("on", "gte")
    on_until = day("on", "lte")
    posting = filters.UUIDFilter()


class ReservationFilter(Filters):
    """Reservations."""

    holder = filters.CharFilter()
    state = one_of(ReservationState)
    lot = filters.CharFilter(field_name="lines__lot__code", distinct=True)


class CountFilter(Filters):
    """Counts."""

    lot = by_code("lot")
    material = by_code("lot__material")
    counted_from = day("counted_on", "gte")
    counted_until = day("counted_on", "lte")


class DeliveryFilter(Filters):
    """Deliveries."""

    supplier = by_code("supplier")
    invoice = filters.CharFilter()
    received_from = day("received_on", "gte")
    received_until = day("received_on", "lte")


class OrderFilter(Filters):
    """Purchase orders."""

    supplier = by_code("supplier")
    state = one_of(PurchaseOrder.State)
    expected_until = day("expected_on", "lte")


class ExpectedMakeFilter(Filters):
    """What planned batches will make."""

    holder = filters.CharFilter()
    material = by_code("material")
    due_until = day("due_on", "lte")


class RequirementFilter(Filters):
    """Dated requirements."""

    holder = filters.CharFilter()
    material = by_code("material")
    due_until = day("due_on", "lte")
