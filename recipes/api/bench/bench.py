"""A batch at the bench: its sheet, what is weighed, and what was really made."""

from typing import Any

from django.urls import reverse
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from recipes.api.bench.chosen import MOST_CHOSEN, names_of
from recipes.api.bench.sheet_answers import (
    ActualsSerializer,
    SheetSerializer,
    shown_actuals,
    shown_sheet,
)
from recipes.api.fields import TemperatureField
from recipes.models.bench.batches import Batch
from recipes.paper.labels import address
from recipes.paper.sheet import SHEET, paper_values
from recipes.services.bench.actuals import LONGEST_TRACE, BenchRecord, record_bench, weigh_line
from recipes.services.bench.as_made import actuals_of
from recipes.services.bench.sheets import sheet_of
from recipes.services.bench.shelf import cautions_of
from studio.foundation.paper.codes import qr_svg
from studio.foundation.roles import Capability
from studio.foundation.units.registry import Dimension
from studio.web.api.callers import caller
from studio.web.api.serializers import StrictSerializer
from studio.web.api.verbs import look, verb
from studio.web.api.viewsets import StudioViewSet
from studio.web.downloads import Page, PaperView
from studio.web.serializer_fields.quantities import BaseQuantityField, QuantityField

_ANY_STOCK = (Dimension.MASS, Dimension.VOLUME, Dimension.COUNT)


class FromLotSerializer(StrictSerializer):
    """A lot that a reading came from; of a single lot the amount may be left out."""

    lot = serializers.SlugField(max_length=40)
    amount = QuantityField(dimensions=_ANY_STOCK, required=False)


class WeighSerializer(StrictSerializer):
    """A reading of one line, in any unit; 0 says that it was left out.

    Without lots it came from those held. Weighing a line again replaces its reading.
    """

    position = serializers.IntegerField(min_value=0, max_value=10**6)
    amount = QuantityField(dimensions=_ANY_STOCK)
    lots = FromLotSerializer(many=True, required=False, max_length=MOST_CHOSEN)  # type: ignore[call-arg]
    note = serializers.CharField(max_length=200, allow_blank=True, default="")


class BenchRecordSerializer(StrictSerializer):
    """What else is kept of a pour; what is left out stays as it was. A note is added."""

    oil_temperature = TemperatureField(source="oil_temperature_c", required=False)
    lye_temperature = TemperatureField(source="lye_temperature_c", required=False)
    poured_temperature = TemperatureField(source="poured_temperature_c", required=False)
    trace_minutes = serializers.IntegerField(min_value=0, max_value=LONGEST_TRACE, required=False)
    poured = BaseQuantityField(source="poured_mass", unit="g", required=False)
    note = serializers.CharField(max_length=4000, allow_blank=True, default="")


class BenchViewSet(StudioViewSet):
    """Lye burns: the sheet and the actuals carry the cautions."""

    queryset = Batch.objects.all()
    serializer_class = ActualsSerializer

    @look(Capability.READ, answer=SheetSerializer)
    def sheet(self, request: Request, code: str) -> Any:
        """The sheet to weigh by: stages in bench order with lots, the lye step, the cautions."""
        return shown_sheet(sheet_of(code))

    @look(Capability.READ)
    def actuals(self, request: Request, code: str) -> Any:
        """What was really made: superfat, lye concentration, and each line that differs."""
        return self._shown(code)

    @verb(Capability.MAKE, given=WeighSerializer)
    def weigh(self, request: Request, code: str, given: Any) -> Any:
        """Keep what the scale shows for a line; the reservation moves to the lots it came from."""
        reading = names_of(code).reading(given, written=_written(dict(request.data)["amount"]))
        weigh_line(code, reading, by=caller(request))
        return self._shown(code)

    @verb(Capability.MAKE, given=BenchRecordSerializer)
    def record(self, request: Request, code: str, given: Any) -> Any:
        """Keep temperatures, trace time, the weight of the batter as poured, and notes."""
        record_bench(code, BenchRecord(**given), by=caller(request))
        return self._shown(code)

    def _shown(self, code: str) -> Response:
        actuals = actuals_of(code)
        return self.answer(shown_actuals(actuals, cautions_of(actuals.batch)))


class SheetPaperView(PaperView):
    """The batch sheet on paper, cautions first, with places to tick and to write."""

    def page(self, **kwargs: Any) -> Page:
        sheet = sheet_of(kwargs["code"])
        code = sheet.batch.code
        scanned = qr_svg(address(reverse("batch-sheet-page", args=[code])))
        values = paper_values(sheet, code=scanned)
        return Page(template=SHEET, values=values, name=f"{code}-sheet")


def _written(amount: Any) -> str:
    """What a person typed, for the record."""
    if isinstance(amount, dict):
        return f"{amount.get('amount')} {amount.get('unit')}"
    return str(amount)
