"""What was really made of a batch, as an answer."""

from collections.abc import Iterable
from typing import Any

from rest_framework import serializers

from recipes.api.answers import CautionSerializer, ShownShare, grams
from recipes.api.fields import TemperatureField
from recipes.domain.bench.cautions import Caution
from recipes.services.bench.as_made import ActualLine, Actuals
from studio.web.api.serializers import StrictSerializer
from studio.web.serializer_fields.quantities import StockAmountField


class DeviationSerializer(StrictSerializer):
    """A line that was weighed otherwise than planned. `share` is the difference over the plan."""

    position = serializers.IntegerField(read_only=True)
    material = serializers.CharField(read_only=True)
    name = serializers.CharField(read_only=True)
    planned = StockAmountField(counted="counted")
    actual = StockAmountField(counted="counted")
    difference = StockAmountField(counted="counted")
    share = ShownShare()
    tolerance = StockAmountField(counted="counted")
    outside = serializers.BooleanField(read_only=True)


class RecordSerializer(StrictSerializer):
    """What was kept of the bench beside the weights."""

    oil_temperature = TemperatureField(read_only=True, allow_null=True)
    lye_temperature = TemperatureField(read_only=True, allow_null=True)
    poured_temperature = TemperatureField(read_only=True, allow_null=True)
    trace_minutes = serializers.IntegerField(read_only=True, allow_null=True)
    poured = grams(allow_null=True)
    minutes = serializers.IntegerField(read_only=True)


class ActualsSerializer(StrictSerializer):
    """What was really made. Lines not weighed yet count as planned in the figures.

    A batch that is `lye_heavy` is blocked when it is poured and never released.
    """

    batch = serializers.CharField(read_only=True)
    state = serializers.CharField(read_only=True)
    superfat = ShownShare(allow_null=True)
    superfat_planned = ShownShare(allow_null=True)
    lye_concentration = ShownShare(allow_null=True)
    lye_concentration_planned = ShownShare(allow_null=True)
    lye_heavy = serializers.BooleanField(read_only=True)
    complete = serializers.BooleanField(read_only=True)
    not_weighed = serializers.ListField(child=serializers.IntegerField(), read_only=True)
    deviations = DeviationSerializer(many=True)
    record = RecordSerializer()
    note = serializers.CharField(read_only=True)
    cautions = CautionSerializer(many=True)


def shown_actuals(actuals: Actuals, cautions: Iterable[Caution]) -> dict[str, Any]:
    """The actuals of a batch as `ActualsSerializer` reads them."""
    batch = actuals.batch
    return {
        "batch": batch.code,
        "state": batch.state,
        "superfat": actuals.superfat,
        "superfat_planned": batch.superfat,
        "lye_concentration": actuals.lye_concentration,
        "lye_concentration_planned": batch.lye_concentration,
        "lye_heavy": actuals.lye_heavy,
        "complete": actuals.complete,
        "not_weighed": [line.row.position for line in actuals.lines if line.actual is None],
        "deviations": [_deviation(line) for line in actuals.deviations],
        "record": {
            "oil_temperature": batch.oil_temperature_c,
            "lye_temperature": batch.lye_temperature_c,
            "poured_temperature": batch.poured_temperature_c,
            "trace_minutes": batch.trace_minutes,
            "poured": batch.poured_mass,
            "minutes": batch.minutes,
        },
        "note": batch.note,
        "cautions": list(cautions),
    }


def _deviation(line: ActualLine) -> dict[str, Any]:
    found, material = line.deviation, line.row.material
    assert found is not None
    return {
        "position": found.position,
        "material": material.code,
        "name": material.name,
        "planned": found.planned,
        "actual": found.actual,
        "difference": found.difference,
        "share": found.share,
        "tolerance": found.tolerance,
        "outside": found.is_outside,
        "counted": material.counted,
    }
