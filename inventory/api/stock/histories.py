"""The histories of lots and materials: who changed what, and what was before."""

from typing import ClassVar

from drf_spectacular.utils import OpenApiParameter, extend_schema, extend_schema_view

from inventory.models.catalog.materials import Material
from inventory.models.stock.lots import Lot
from studio.web.api.histories import HistoryViewSet

CODE = OpenApiParameter("code", str, OpenApiParameter.PATH)


@extend_schema_view(list=extend_schema(parameters=[CODE]))
class LotHistoryViewSet(HistoryViewSet):
    """Changes of a lot; what moved its stock are its entries."""

    model: ClassVar = Lot


@extend_schema_view(list=extend_schema(parameters=[CODE]))
class MaterialHistoryViewSet(HistoryViewSet):
    """Changes of a material."""

    model: ClassVar = Material
