"""Labels: the draft of a bar's label as JSON, and sheets of labels as PDF."""

from collections.abc import Iterable, Mapping
from typing import Any, ClassVar

from drf_spectacular.drainage import set_override
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from inventory.queries.stock.certificates import lot_label
from recipes.api.answers import NoticeSerializer, grams
from recipes.domain.labels.grid import MOST_A_SIDE, MOST_LABELS, LabelGrid
from recipes.domain.labels.ingredient_list import EU, MILLION, US, Convention
from recipes.paper.labels import (
    Label,
    bar_label_words,
    batch_label_words,
    label_sheet,
    lot_label_words,
)
from recipes.services.labels.labels import LabelWish, bar_label, rack_batch
from studio.foundation.roles import Capability
from studio.web.api.serializers import StrictSerializer
from studio.web.api.views import StudioView
from studio.web.downloads import PAPER, PDF, FileView, asked_paper, file_answer
from studio.web.permissions import Rule
from studio.web.serializer_fields.numbers import DecimalTextField, ShownShareField
from studio.web.serializer_fields.quantities import BaseQuantityField

WORDINGS = {"eu": EU, "us": US}


class QueryQuantity(BaseQuantityField):
    """A quantity in a query: text with its unit."""

    def __init__(self, *, unit: str, **kwargs: Any) -> None:
        super().__init__(unit=unit, required=False, **kwargs)
        set_override(self, "field", {"type": "string", "maxLength": 64, "example": f"12.5 {unit}"})


class LabelQuerySerializer(StrictSerializer):
    """How a bar's label is written."""

    convention = serializers.ChoiceField(
        choices=[one.value for one in Convention],
        default=Convention.RESULTS.value,
        help_text="What went in, or what results of it.",
    )
    wording = serializers.ChoiceField(
        choices=list(WORDINGS), default="eu", help_text="Aqua and Parfum, or Water and Fragrance."
    )
    net_weight = QueryQuantity(unit="g", help_text="What the label declares.")


class GridQuerySerializer(StrictSerializer):
    """The grid of a sheet; margins at the right and below are as those opposite if left out."""

    rows = serializers.IntegerField(min_value=1, max_value=MOST_A_SIDE, default=7)
    columns = serializers.IntegerField(min_value=1, max_value=MOST_A_SIDE, default=3)
    margin_top = QueryQuantity(unit="mm")
    margin_left = QueryQuantity(unit="mm")
    margin_bottom = QueryQuantity(unit="mm")
    margin_right = QueryQuantity(unit="mm")
    gap_down = QueryQuantity(unit="mm")
    gap_across = QueryQuantity(unit="mm")
    start = serializers.IntegerField(
        min_value=1, default=1, help_text="First place used, along the rows from 1."
    )
    count = serializers.IntegerField(
        min_value=1,
        max_value=MOST_LABELS,
        required=False,
        help_text="How many; if left out, what is left of the sheet.",
    )
    outline = serializers.BooleanField(
        default=False, help_text="Draw the edges, to try the grid on plain paper."
    )


class BarSheetQuerySerializer(LabelQuerySerializer, GridQuerySerializer):
    """A sheet of bar labels."""


class ListedSerializer(StrictSerializer):
    """One name of the list; `order_is_free` below 1 % and for colorants."""

    name = serializers.CharField(read_only=True)
    mass = grams(source="mass_ng")
    share = serializers.SerializerMethodField()
    colorant = serializers.BooleanField(source="is_colorant", read_only=True)
    order_is_free = serializers.BooleanField(read_only=True)

    def get_share(self, item: Any) -> str:
        return f"{item.millionths / MILLION:.6f}"


class AllergenShareSerializer(StrictSerializer):
    """An allergen above 0.01 % of the finished soap."""

    name = serializers.CharField(read_only=True)
    share = DecimalTextField(places=6, read_only=True)


class BarLabelSerializer(StrictSerializer):
    """The draft of a bar's label. `ingredients` are the names in label order.

    `infused_with` names what was strained out of its blends again, which is no ingredient.
    """

    batch = serializers.CharField(source="batch.code", read_only=True)
    name = serializers.CharField(source="batch.version.formula.name", read_only=True)
    lot = serializers.CharField(source="lot_code", read_only=True)
    best_before = serializers.DateField(read_only=True, allow_null=True)
    net_weight = grams(source="net_weight_ng", allow_null=True)
    ingredients = serializers.ListField(child=serializers.CharField(), read_only=True)
    infused_with = serializers.ListField(child=serializers.CharField(), read_only=True)
    listed = ListedSerializer(source="listed.items", many=True)
    superfat = ShownShareField(source="listed.superfat", allow_null=True)
    dried = grams(source="listed.evaporated_ng")
    allergens = AllergenShareSerializer(source="allergens.named", many=True)
    cautions = serializers.ListField(child=serializers.CharField(), read_only=True)
    notices = NoticeSerializer(many=True)
    statement = serializers.CharField(read_only=True)


class BarLabelView(StudioView):
    """The label of a batch's bars, as a draft to be checked against local law."""

    rules: ClassVar[Mapping[str, Rule]] = {"get": Capability.READ}
    serializer_class = BarLabelSerializer

    def query_parameters(self) -> Iterable[str]:
        return LabelQuerySerializer().fields

    @extend_schema(parameters=[LabelQuerySerializer])
    def get(self, request: Request, code: str) -> Response:
        """Ingredients by mass, allergens, lot, best before and net weight."""
        made = bar_label(code, _wish(_asked(request, LabelQuerySerializer)))
        return Response(BarLabelSerializer(made).data)


class LabelSheetView(FileView):
    """Labels on a sheet. Subclasses write `label(asked, **kwargs)`."""

    form = "pdf"
    query_serializer: ClassVar[type[StrictSerializer]] = GridQuerySerializer

    def query_parameters(self) -> Iterable[str]:
        return ["paper", *self.query_serializer().fields]

    def label(self, asked: Mapping[str, Any], **kwargs: Any) -> Label:
        """What is printed for an address."""
        raise NotImplementedError

    @extend_schema(
        parameters=[PAPER, GridQuerySerializer], responses={(200, PDF): OpenApiTypes.BINARY}
    )
    def get(self, request: Request, **kwargs: Any) -> Any:
        """Labels on a grid; every page says that local law must be checked."""
        asked = _asked(request, self.query_serializer, without="paper")
        paper = asked_paper(request)
        grid = _grid(asked, paper)
        pdf = label_sheet(
            self.label(asked, **kwargs),
            grid,
            count=asked.get("count") or grid.rows * grid.columns - grid.start + 1,
            paper=paper,
            outline=asked["outline"],
        )
        return file_answer(pdf, form=self.form, name=f"{kwargs['code']}-labels", inline=True)


class BarSheetView(LabelSheetView):
    """Labels of a batch's bars."""

    query_serializer = BarSheetQuerySerializer

    def label(self, asked: Mapping[str, Any], **kwargs: Any) -> Label:
        return bar_label_words(bar_label(kwargs["code"], _wish(asked)))

    @extend_schema(
        parameters=[PAPER, BarSheetQuerySerializer],
        responses={(200, PDF): OpenApiTypes.BINARY},
    )
    def get(self, request: Request, **kwargs: Any) -> Any:
        """Bar labels on a grid; every page says that local law must be checked."""
        return super().get(request, **kwargs)


class BatchSheetView(LabelSheetView):
    """Labels of a batch on the curing rack; their code opens the batch."""

    def label(self, asked: Mapping[str, Any], **kwargs: Any) -> Label:
        return batch_label_words(rack_batch(kwargs["code"]))


class LotSheetView(LabelSheetView):
    """Labels of a lot's containers; their code opens the lot."""

    def label(self, asked: Mapping[str, Any], **kwargs: Any) -> Label:
        return lot_label_words(lot_label(kwargs["code"]))


def _asked(
    request: Request, serializer_class: type[StrictSerializer], *, without: str = ""
) -> Mapping[str, Any]:
    given = {name: value for name, value in request.query_params.items() if name != without}
    serializer = serializer_class(data=given)
    serializer.is_valid(raise_exception=True)
    asked: Mapping[str, Any] = serializer.validated_data
    return asked


def _wish(asked: Mapping[str, Any]) -> LabelWish:
    return LabelWish(
        convention=Convention(asked["convention"]),
        wording=WORDINGS[asked["wording"]],
        net_weight_ng=asked.get("net_weight"),
    )


def _grid(asked: Mapping[str, Any], paper: str) -> LabelGrid:
    lengths = {
        f"{name}_nm": value for name, value in asked.items() if name.startswith(("margin_", "gap_"))
    }
    return LabelGrid(
        paper=paper,
        rows=asked["rows"],
        columns=asked["columns"],
        start=asked["start"],
        **lengths,
    )
