"""Locations, and moving lots between them."""

from typing import Any, ClassVar

from rest_framework.request import Request

from inventory.api.stock.lots import LotSerializer
from inventory.domain.stock.lots import LocationKind
from inventory.models.stock.lots import Location, Lot
from inventory.services.stock.locations import move_lot
from studio.foundation.roles import Capability
from studio.web.api.callers import caller
from studio.web.api.lists.filtering import Filters, YesNoFilter, one_of
from studio.web.api.serializers import STAMPS, StrictModelSerializer, StrictSerializer
from studio.web.api.verbs import verb
from studio.web.api.viewsets import MasterViewSet, StudioViewSet, master_rules
from studio.web.serializer_fields.named import CodeField


class LocationSerializer(StrictModelSerializer[Location]):
    """A place where lots stand."""

    class Meta:
        model = Location
        fields = ("code", "name", "kind", "active", "note", *STAMPS)
        read_only_fields = STAMPS


class LocationFilter(Filters):
    """Locations."""

    kind = one_of(LocationKind)
    active = YesNoFilter()


class LocationViewSet(MasterViewSet):
    """Shelves, curing racks and cold places."""

    queryset = Location.objects.order_by("code")
    serializer_class = LocationSerializer
    filterset_class = LocationFilter
    ordering = ("code",)
    rules: ClassVar = master_rules(Capability.KEEP_STOCK)


class MoveGivenSerializer(StrictSerializer):
    """Where the lot stands from now on; null takes it out of any place."""

    location = CodeField(allow_null=True)


class LotMoveViewSet(StudioViewSet):
    """Lots are moved from place to place."""

    queryset = Lot.objects.select_related("material", "supplier", "location").order_by("code")
    serializer_class = LotSerializer

    @verb(Capability.KEEP_STOCK, given=MoveGivenSerializer)
    def move(self, request: Request, code: str, given: Any) -> Any:
        """Put the lot in another place; no stock changes."""
        move_lot(self.get_object().pk, given["location"], by=caller(request))
        return self.get_object()
