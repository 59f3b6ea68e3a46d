"""Materials: master data that people keep, with what stands behind each in stock."""

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.api.fields import FattyAcidsField, WrittenQuantityField
from inventory.api.filters import MaterialFilter
from inventory.api.stock.positions import StockSerializer, stock_of
from inventory.domain.catalog.descriptions import gaps
from inventory.domain.stock.holds import LONGEST_SAID
from inventory.models.catalog.materials import Material
from inventory.services.catalog.materials import save_material
from studio.foundation.errors import Faults, InvalidInput, Refusal
from studio.foundation.model_fields import StockField, described
from studio.foundation.roles import Capability
from studio.foundation.units.conversion import stock_amount
from studio.web.api.callers import caller
from studio.web.api.serializers import KEPT, STAMPS, StrictModelSerializer, StrictSerializer
from studio.web.api.viewsets import DescribedViewSet, master_rules
from studio.work.keeping import Expected

AMOUNTS = ("reorder_point", "reorder_to", "shelf_space")
_PLAIN = described(Material)
_AT = _PLAIN.index("water_share")


class GapSerializer(StrictSerializer):
    """Something that is not known yet of a material."""

    code = serializers.CharField()
    field = serializers.CharField()
    detail = serializers.CharField(source="message")


class MaterialSerializer(StrictModelSerializer[Material]):
    """A material: densities in g/mL, saponification values in mg KOH/g, shares as parts of 1.

    Reorder amounts are read in any unit that fits, a volume through the material's density.
    """

    fatty_acids = FattyAcidsField(required=False)
    reason = serializers.CharField(
        required=False,
        write_only=True,
        max_length=LONGEST_SAID,
        help_text="Why, where an owner corrects which alkali it is; kept in its history.",
    )
    gaps = serializers.SerializerMethodField(help_text="What is missing before it can be used.")

    class Meta:
        model = Material
        fields = (*_PLAIN[:_AT], "fatty_acids", *_PLAIN[_AT:], "reason", "gaps", *STAMPS)
        read_only_fields = STAMPS

    def build_standard_field(self, field_name: str, model_field: Any) -> Any:
        kind, kwargs = super().build_standard_field(field_name, model_field)
        if isinstance(model_field, StockField):
            kept = {name: value for name, value in kwargs.items() if name in KEPT}
            return WrittenQuantityField, {**kept, "counted": "counted"}
        return kind, kwargs

    @extend_schema_field(GapSerializer(many=True))
    def get_gaps(self, material: Material) -> Any:
        return GapSerializer(gaps(material), many=True).data

    def validate(self, given: Any) -> Any:
        """Reorder amounts in the unit in which this material is kept."""
        if not self.partial:
            given.setdefault("low_stock_alerts", None)
            given.setdefault("fatty_acids", {})
        kept = self.instance if self.partial else None
        counted = given.get("counted", kept.counted if kept else False)
        density = given.get("density_g_ml", kept.density_g_ml if kept else None)
        faults = Faults()
        for name in AMOUNTS:
            if given.get(name) is not None:
                try:
                    given[name] = stock_amount(given[name], counted=counted, density_g_ml=density)
                except Refusal as refusal:
                    faults.take(refusal, name)
            elif kept and name not in given and counted != kept.counted and getattr(kept, name):
                faults.add("unit-changed", "Its unit changes: give this anew, or null.", name)
        faults.raise_if_any(InvalidInput)
        return given


class MaterialViewSet(DescribedViewSet):
    """What the studio weighs, counts and buys."""

    queryset = Material.objects.prefetch_related("fatty_acids").order_by("code")
    serializer_class = MaterialSerializer
    filterset_class = MaterialFilter
    ordering = ("code",)
    rules: ClassVar = {**master_rules(Capability.KEEP_STOCK), "stock": Capability.READ}
    answer_serializers: ClassVar = {"stock": StockSerializer}
    service: ClassVar = save_material

    def keep(self, serializer: Any, expected: Expected = None) -> Material:
        row, names = serializer.given_row()
        given = serializer.validated_data
        save_material(
            row,
            names,
            fatty_acids=given.get("fatty_acids"),
            reason=given.get("reason", ""),
            by=caller(self.request),
            expected=expected,
        )
        kept: Material = self.get_queryset().get(code=row.code)
        return kept

    @extend_schema(filters=False)
    @action(detail=True, methods=["get"])
    def stock(self, request: Request, code: str) -> Response:
        """On hand, reserved, planned and on order of one material, and what that projects to."""
        return self.answer(stock_of([self.get_object()])[0])
