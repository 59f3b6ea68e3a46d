"""Materials: master data that people keep, with what stands behind each in stock."""

from dataclasses import replace
from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema, extend_schema_field
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.api.fields import (
    FattyAcidsField,
    WrittenQuantityField,
    optional_decimal,
    optional_share,
)
from inventory.api.filters import MaterialFilter
from inventory.api.stock.positions import StockSerializer, stock_of
from inventory.domain.catalog.descriptions import MaterialDescription
from inventory.domain.catalog.materials import MaterialKind
from inventory.models.catalog.materials import Material
from inventory.services.catalog.materials import describe, gaps_of, save_material
from studio.foundation.errors import Faults, InvalidInput, Refusal
from studio.foundation.roles import Capability
from studio.foundation.units.conversion import stock_amount
from studio.web.api.callers import caller
from studio.web.api.serializers import StrictModelSerializer, StrictSerializer
from studio.web.api.viewsets import MasterViewSet, master_rules
from studio.web.serializer_fields.quantities import BaseQuantityField

AMOUNTS = ("reorder_point", "reorder_to", "shelf_space")


class GapSerializer(StrictSerializer):
    """Something that is not known yet of a material."""

    code = serializers.CharField()
    field = serializers.CharField()
    detail = serializers.CharField(source="message")


class MaterialSerializer(StrictModelSerializer[Material]):
    """A material: densities in g/mL, saponification values in mg KOH/g, shares as parts of 1.

    Reorder amounts are read in any unit that fits, a volume through the material's density.
    """

    piece_mass = BaseQuantityField(
        unit="g", required=False, allow_null=True, help_text="Usable mass of one piece."
    )
    density_g_ml = optional_decimal(6)
    density_temperature_c = optional_decimal(3)
    sv_mg_koh_g = optional_decimal(3)
    sv_low_mg_koh_g = optional_decimal(3)
    sv_high_mg_koh_g = optional_decimal(3)
    iodine_value = optional_decimal(3)
    fatty_acids = FattyAcidsField(required=False)
    water_share = optional_share()
    fat_share = optional_share()
    purity = optional_share()
    acid_naoh_g_per_g = optional_decimal(6)
    ifra_category9_max = optional_share()
    reorder_point = WrittenQuantityField(counted="counted", required=False, allow_null=True)
    reorder_to = WrittenQuantityField(counted="counted", required=False, allow_null=True)
    shelf_space = WrittenQuantityField(
        counted="counted", required=False, allow_null=True, help_text="The most there is room for."
    )
    gaps = serializers.SerializerMethodField(help_text="What is missing before it can be used.")

    class Meta:
        model = Material
        fields = (
            "code",
            "name",
            "kind",
            "counted",
            "piece_mass",
            "inci_name",
            "density_g_ml",
            "density_temperature_c",
            "sv_mg_koh_g",
            "sv_low_mg_koh_g",
            "sv_high_mg_koh_g",
            "iodine_value",
            "fatty_acids",
            "water_share",
            "fat_share",
            "alkali",
            "purity",
            "acid_naoh_g_per_g",
            "ifra_category9_max",
            "tempering",
            "shelf_life_days",
            "reorder_point",
            "reorder_to",
            "shelf_space",
            "low_stock_alerts",
            "active",
            "note",
            "gaps",
            "revision",
            "created_at",
            "updated_at",
        )
        read_only_fields = ("revision", "created_at", "updated_at")

    @extend_schema_field(GapSerializer(many=True))
    def get_gaps(self, material: Material) -> Any:
        return GapSerializer(gaps_of(material), many=True).data

    def validate(self, given: Any) -> Any:
        """Reorder amounts in the unit in which this material is kept."""
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


class MaterialViewSet(MasterViewSet):
    """What the studio weighs, counts and buys."""

    queryset = Material.objects.prefetch_related("fatty_acids").order_by("code")
    serializer_class = MaterialSerializer
    filterset_class = MaterialFilter
    ordering = ("code",)
    rules: ClassVar = {**master_rules(Capability.KEEP_STOCK), "stock": Capability.READ}
    answer_serializers: ClassVar = {"stock": StockSerializer}

    def create_row(self, given: Any, serializer: Any) -> Material:
        return save_material(MaterialDescription(**_typed(given)), by=caller(self.request))

    def change_row(self, row: Material, given: Any, serializer: Any) -> Material:
        if serializer.partial:
            described = replace(describe(row), **_typed(given))
        else:
            described = MaterialDescription(**_typed(given))
        save_material(described, material_id=row.pk, by=caller(self.request))
        changed: Material = self.get_queryset().get(pk=row.pk)
        return changed

    @extend_schema(filters=False)
    @action(detail=True, methods=["get"])
    def stock(self, request: Request, code: str) -> Response:
        """On hand, reserved, planned and on order of one material, and what that projects to."""
        return self.answer(stock_of([self.get_object()])[0])


def _typed(given: Any) -> dict[str, Any]:
    return {**given, "kind": MaterialKind(given["kind"])} if "kind" in given else dict(given)
