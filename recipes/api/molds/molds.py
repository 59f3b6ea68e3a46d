"""Molds: their sizes, and what they hold."""

from typing import Any

from rest_framework import serializers

from recipes.api.fields import BarsCount
from recipes.api.filters import MoldFilters
from recipes.domain.molds.molds import MoldCut, bars, fill_volume_nl, full_volume_nl
from recipes.models.molds.molds import Mold
from recipes.queries.molds.molds import cut_of
from recipes.services.molds.molds import save_mold
from studio.foundation.roles import Capability
from studio.web.api.serializers import StrictModelSerializer
from studio.web.api.viewsets import MasterViewSet, master_rules
from studio.web.serializer_fields.numbers import ShareField
from studio.web.serializer_fields.quantities import BaseQuantityField

SHAPE_FIELDS = (
    "shape",
    "length",
    "width",
    "depth",
    "top_length",
    "top_width",
    "diameter",
    "divider",
    "measured_volume",
    "cavities",
    "fill_height",
    "overfill_share",
    "trim",
    "rows",
    "columns",
    "layers",
)


class _Size(BaseQuantityField):
    """A length of a mold: any unit in, millimeters out; empty where the shape has no such size."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(unit="mm", required=False, **kwargs)


class ShapeSerializer(StrictModelSerializer[Mold]):
    """A mold's shape, fill and cut, as the computations and the stored molds share them."""

    length = _Size(allow_null=True)
    width = _Size(allow_null=True)
    depth = _Size(allow_null=True)
    top_length = _Size(allow_null=True)
    top_width = _Size(allow_null=True)
    diameter = _Size(allow_null=True)
    fill_height = _Size(allow_null=True)
    divider = _Size()
    trim = _Size()
    measured_volume = BaseQuantityField(unit="mL", required=False, allow_null=True)
    overfill_share = ShareField(required=False)

    class Meta:
        model = Mold
        fields: tuple[str, ...] = SHAPE_FIELDS
        read_only_fields: tuple[str, ...] = ()


class MoldSerializer(ShapeSerializer):
    """A mold with what it holds; `fill_volume` is up to the fill height, else to the rim."""

    full_volume = BaseQuantityField(unit="mL", read_only=True)
    fill_volume = BaseQuantityField(unit="mL", read_only=True)
    bars = BarsCount(read_only=True)

    class Meta(ShapeSerializer.Meta):
        fields = (
            "code",
            "name",
            *SHAPE_FIELDS,
            "full_volume",
            "fill_volume",
            "bars",
            "note",
            "active",
            "revision",
        )
        read_only_fields = ("revision",)

    def to_representation(self, instance: Mold) -> dict[str, Any]:
        cut = cut_of(instance)
        instance.full_volume = full_volume_nl(cut.mold)  # type: ignore[attr-defined]
        instance.fill_volume = fill_volume_of(cut)  # type: ignore[attr-defined]
        instance.bars = bars(cut)  # type: ignore[attr-defined]
        return super().to_representation(instance)


def fill_volume_of(cut: MoldCut) -> int:
    """Volume in nL up to the fill height, else to the rim."""
    return fill_volume_nl(cut.mold, cut.fill_height_nm)


class MoldViewSet(MasterViewSet):
    """The shapes that soap is poured into. Lengths are read in any unit and written in mm."""

    queryset = Mold.objects.order_by("code")
    serializer_class = MoldSerializer
    filterset_class = MoldFilters
    ordering = ("code",)
    rules = master_rules(Capability.PLAN)

    def create_row(self, given: Any, serializer: serializers.BaseSerializer[Any]) -> Mold:
        return save_mold(Mold(**given))

    def change_row(
        self, row: Mold, given: Any, serializer: serializers.BaseSerializer[Any]
    ) -> Mold:
        for name, value in given.items():
            setattr(row, name, value)
        return save_mold(row)
