"""The portions and layers of a batch, and drawings of molds and of what is poured into them."""

from collections.abc import Mapping
from typing import Any, ClassVar

from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from recipes.domain.formulas.formula import PortionWeight
from recipes.queries.bench.batches import batch_by_code
from recipes.services.molds.drawings import drawing_of_batch, drawing_of_mold
from recipes.services.scaling.portions import LayerWeight, Portions, portions_of
from studio.foundation.drawing.canvas import Chart
from studio.foundation.roles import Capability
from studio.web.api.answers import AnswerSerializer
from studio.web.api.views import StudioView
from studio.web.downloads import DrawingView
from studio.web.permissions import Rule


class PortionWeightSerializer(AnswerSerializer):
    """What one portion weighs: plain batter to ladle off, and its colorants."""

    shows = PortionWeight
    says = ("name", "share", "plain_ng", "colorants_ng", "total_ng")


class LayerWeightSerializer(AnswerSerializer):
    """One pour, in the order of the bench."""

    shows = LayerWeight
    says = ("layer.portion", "layer.share", "place", "layer.note", "mass_ng")
    place = serializers.CharField(source="layer.place.value")


class PortionsSerializer(AnswerSerializer):
    """How the batter is split and poured; both lists are empty where it is not."""

    shows = Portions
    says = ("portions", "layers", "total_ng")
    layers = LayerWeightSerializer(many=True)


class BatchPortionsView(StudioView):
    """The portions of a batch with their weights, and the pour order."""

    rules: ClassVar[Mapping[str, Rule]] = {"get": Capability.READ}
    serializer_class = PortionsSerializer

    def get(self, request: Request, code: str) -> Response:
        """Planned weights; of a poured batch those that were really weighed."""
        made: Portions = portions_of(batch_by_code(code))
        return Response(PortionsSerializer(made).data)


class BatchDrawingView(DrawingView):
    """The mold of a batch in cross-section, with its layers and the fill line."""

    def drawing(self, **kwargs: Any) -> Chart:
        return drawing_of_batch(kwargs["code"])


class MoldDrawingView(DrawingView):
    """A mold in cross-section, with its fill line."""

    def drawing(self, **kwargs: Any) -> Chart:
        return drawing_of_mold(kwargs["code"])
