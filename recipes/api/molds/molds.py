"""Molds: their sizes, and what they hold."""

from typing import Any

from django_filters import rest_framework as filters

from recipes.api.fields import BarsCount
from recipes.domain.molds.molds import MoldCut, bars, fill_volume_nl
from recipes.domain.molds.shapes import full_volume_nl
from recipes.models.molds.molds import Mold, MoldShape
from recipes.queries.molds.molds import cut_of
from recipes.services.molds.molds import save_mold
from studio.foundation.model_fields import described
from studio.foundation.roles import Capability
from studio.web.api.lists.filtering import Filters, YesNoFilter
from studio.web.api.serializers import StrictModelSerializer
from studio.web.api.viewsets import DescribedViewSet, master_rules
from studio.web.serializer_fields.numbers import ShareField
from studio.web.serializer_fields.quantities import BaseQuantityField

_ABOUT = ("code", "name", "note", "active")
SHAPE_FIELDS = tuple(name for name in described(Mold) if name not in _ABOUT)


class ShapeSerializer(StrictModelSerializer[Mold]):
    """A mold's shape, fill and cut, as the computations and the stored molds share them."""

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
            "changed_by",
        )
        read_only_fields = ("revision", "changed_by")

    def to_representation(self, instance: Mold) -> dict[str, Any]:
        cut = cut_of(instance)
        instance.full_volume = full_volume_nl(cut.mold)  # type: ignore[attr-defined]
        instance.fill_volume = fill_volume_of(cut)  # type: ignore[attr-defined]
        instance.bars = bars(cut)  # type: ignore[attr-defined]
        return super().to_representation(instance)


def fill_volume_of(cut: MoldCut) -> int:
    """Volume in nL up to the fill height, else to the rim."""
    return fill_volume_nl(cut.mold, cut.fill_height_nm)


class MoldFilters(Filters):
    """Molds by shape."""

    shape = filters.ChoiceFilter(choices=MoldShape.choices)
    active = YesNoFilter()


class MoldViewSet(DescribedViewSet):
    """The shapes that soap is poured into. Lengths are read in any unit and written in mm."""

    queryset = Mold.objects.order_by("code")
    serializer_class = MoldSerializer
    filterset_class = MoldFilters
    ordering = ("code",)
    rules = master_rules(Capability.PLAN)
    service = save_mold
