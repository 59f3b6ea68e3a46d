"""The stock position of each material: what there is, what is promised, what is to be expected."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

from django.utils import timezone
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.api.filters import MaterialFilter
from inventory.domain.buying.projection import Assessment, assess
from inventory.models.catalog.materials import Material
from inventory.queries.stock.positions import StockPosition, stock_positions
from studio.web.api.serializers import StrictSerializer
from studio.web.api.viewsets import ReadOnlyStudioViewSet
from studio.web.serializer_fields.quantities import StockAmountField

LOW = OpenApiParameter(
    "low", str, enum=["true", "false"], description="Those that run low, or the others."
)


@dataclass(frozen=True, slots=True)
class StockRow:
    """A material's position and whether it runs low."""

    position: StockPosition
    verdict: Assessment


def stock_of(materials: Sequence[Material]) -> list[StockRow]:
    """The rows of these materials, in their order. Five queries, none for no material."""
    if not materials:
        return []
    positions = stock_positions(on=timezone.localdate(), materials=[m.pk for m in materials])
    ordered = (positions[material.pk] for material in materials)
    return [StockRow(each, assess(each.snapshot, each.reorder_point)) for each in ordered]


def _amount(name: str, words: str = "", *, may_lack: bool = False) -> StockAmountField:
    return StockAmountField(
        source=f"position.{name}",
        counted="position.counted",
        help_text=words or None,
        allow_null=may_lack,
    )


class StockSerializer(StrictSerializer):
    """Amounts in g of what is weighed, each of what is counted."""

    material = serializers.CharField(source="position.code")
    name = serializers.CharField(source="position.name")
    on_hand = _amount("on_hand", "Released and not past its best before.")
    quarantine = _amount("quarantine", "May become usable.")
    unusable = _amount("unusable", "Blocked or past its best before.")
    reserved = _amount("reserved", "Promised, from unusable lots too.")
    available = _amount("available", "May be reserved or used now.")
    planned = _amount("planned", "Needed by plans beyond what they hold.")
    on_order = _amount("on_order")
    being_made = _amount("being_made", "What planned batches will make.")
    projected = _amount("projected", "On hand - reserved - planned + on order + being made.")
    reorder_point = _amount("reorder_point", may_lack=True)
    reorder_to = _amount("reorder_to", may_lack=True)
    low = serializers.BooleanField(source="verdict.low")
    short_by = StockAmountField(source="verdict.short_by", counted="position.counted")
    reason = serializers.CharField(source="verdict.reason", help_text="Empty unless it runs low.")


class StockViewSet(ReadOnlyStudioViewSet):
    """One row a material: on hand, reserved, planned, on order, projected, reorder point."""

    queryset = Material.objects.order_by("code")
    serializer_class = StockSerializer
    filterset_class = MaterialFilter
    ordering = ("code",)
    known_query: ClassVar = {"list": ("low",)}

    @extend_schema(parameters=[LOW])
    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        materials = self.filter_queryset(self.get_queryset())
        wanted = _read_low(request)
        rows: dict[int, StockRow] = {}
        if wanted is not None:  # all must be weighed up to know which pages there are
            found = list(materials)
            rows = {m.pk: row for m, row in zip(found, stock_of(found), strict=True)}
            chosen = [pk for pk, row in rows.items() if row.verdict.low is wanted]
            materials = self.get_queryset().filter(pk__in=chosen)
        page = self.paginate_queryset(materials) or []
        shown = [rows[material.pk] for material in page] if rows else stock_of(page)
        return self.get_paginated_response(self.get_serializer(shown, many=True).data)

    def retrieve(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        return self.answer(stock_of([self.get_object()])[0])


def _read_low(request: Request) -> bool | None:
    given = request.query_params.get("low")
    if given in (None, "true", "false"):
        return None if given is None else given == "true"
    raise ValidationError({"low": ["Write true or false."]}, "not-yes-or-no")
