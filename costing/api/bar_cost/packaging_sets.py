"""Packaging sets and their editions: what a product is packed with. They show no money."""

from typing import Any

from django.utils import timezone
from rest_framework import serializers
from rest_framework.request import Request

from costing.api.rows import SET, DescribedRowViewSet, described_by
from costing.models.bar_cost.packaging import PackagingPiece, PackagingSet
from costing.services.bar_cost.packaging import (
    MOST_PIECES,
    EditionDescription,
    PieceDescription,
    SetDescription,
    put_edition,
    save_set,
)
from recipes.domain.weighing import MOST_BARS
from studio.web.api.lists.filtering import Filters, YesNoFilter
from studio.web.api.serializers import STAMPS, StrictModelSerializer, StrictSerializer
from studio.web.api.verbs import verb
from studio.web.serializer_fields.named import CodeField

MOST_KINDS = 50


class PieceSerializer(StrictSerializer):
    """So many pieces of a counted material for each bar, or for each shipping carton."""

    material = CodeField()
    per = serializers.ChoiceField(choices=PackagingPiece.Per.choices)
    pieces = serializers.IntegerField(min_value=1, max_value=MOST_PIECES)


class EditionSerializer(StrictSerializer):
    """What a set takes from a day on, whole."""

    effective_from = serializers.DateField(input_formats=["%Y-%m-%d"])
    bars_per_carton = serializers.IntegerField(min_value=1, max_value=MOST_BARS)
    pieces = PieceSerializer(many=True, max_length=MOST_KINDS)  # type: ignore[call-arg]


class PackagingSetSerializer(StrictModelSerializer[PackagingSet]):
    """A way to pack bars; `editions`, the newest first, say what it takes since when."""

    editions = EditionSerializer(many=True, read_only=True)

    class Meta:
        model = PackagingSet
        fields = (*described_by(SetDescription), "editions", *STAMPS)
        read_only_fields = STAMPS


class PackagingSetFilter(Filters):
    """Packaging sets."""

    active = YesNoFilter()


class PackagingSetViewSet(DescribedRowViewSet):
    """What products are packed with, for the shop and for shipping."""

    queryset = PackagingSet.objects.prefetch_related("editions__pieces__material").order_by("code")
    serializer_class = PackagingSetSerializer
    filterset_class = PackagingSetFilter
    describe = SetDescription
    save = save_set

    @verb(SET, given=EditionSerializer, status=201, once=False)
    def editions(self, request: Request, code: str, given: Any) -> Any:
        """Say what the set takes from a day on, whole; one of the same day to come is replaced."""
        pieces = [PieceDescription(**piece) for piece in given.pop("pieces")]
        described = EditionDescription(pieces=pieces, **given)
        put_edition(code, described, today=timezone.localdate())
        return self.get_object()
