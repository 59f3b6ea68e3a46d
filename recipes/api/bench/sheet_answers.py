"""The sheet of a batch and what was really made of it, as answers."""

from collections.abc import Iterable
from typing import Any

from rest_framework import serializers

from recipes.api.answers import (
    CautionSerializer,
    LotAmountSerializer,
    SafetySerializer,
    ShownShare,
    grams,
    shown_safety,
)
from recipes.api.bench.batch_answers import MadeLotSerializer, line_codes
from recipes.api.fields import TemperatureField
from recipes.domain.bench.cautions import Caution
from recipes.domain.bench.pours import Place
from recipes.domain.formulas.formula import Stage
from recipes.services.bench.as_made import Actuals
from recipes.services.bench.sheets import Sheet, SheetLine
from studio.web.api.serializers import StrictSerializer
from studio.web.serializer_fields.quantities import StockAmountField


class DeviationSerializer(StrictSerializer):
    """A line that was weighed otherwise than planned. `share` is the difference over the plan."""

    position = serializers.IntegerField(source="deviation.position", read_only=True)
    material = serializers.CharField(source="row.material.code", read_only=True)
    name = serializers.CharField(source="row.material.name", read_only=True)
    planned = StockAmountField(source="deviation.planned", counted="row.material.counted")
    actual = StockAmountField(source="deviation.actual", counted="row.material.counted")
    difference = StockAmountField(source="deviation.difference", counted="row.material.counted")
    share = ShownShare(source="deviation.share")
    tolerance = StockAmountField(source="deviation.tolerance", counted="row.material.counted")
    outside = serializers.BooleanField(source="deviation.is_outside", read_only=True)


class RecordSerializer(StrictSerializer):
    """What was kept of the bench beside the weights."""

    oil_temperature = TemperatureField(source="oil_temperature_c", read_only=True, allow_null=True)
    lye_temperature = TemperatureField(source="lye_temperature_c", read_only=True, allow_null=True)
    poured_temperature = TemperatureField(
        source="poured_temperature_c", read_only=True, allow_null=True
    )
    trace_minutes = serializers.IntegerField(read_only=True, allow_null=True)
    poured = grams(source="poured_mass", allow_null=True)
    minutes = serializers.IntegerField(read_only=True)


class ActualsSerializer(StrictSerializer):
    """What was really made. Lines not weighed yet count as planned in the figures.

    A batch that is `lye_heavy` is blocked when it is poured and never released.
    """

    batch = serializers.CharField(source="batch.code", read_only=True)
    state = serializers.CharField(source="batch.state", read_only=True)
    superfat = ShownShare(allow_null=True)
    superfat_planned = ShownShare(source="batch.superfat", allow_null=True)
    lye_concentration = ShownShare(allow_null=True)
    lye_concentration_planned = ShownShare(source="batch.lye_concentration", allow_null=True)
    lye_heavy = serializers.BooleanField(read_only=True)
    complete = serializers.BooleanField(read_only=True)
    not_weighed = serializers.ListField(child=serializers.IntegerField(), read_only=True)
    deviations = DeviationSerializer(many=True)
    record = RecordSerializer(source="batch")
    note = serializers.CharField(source="batch.note", read_only=True)
    cautions = CautionSerializer(many=True)


def shown_actuals(actuals: Actuals, cautions: Iterable[Caution]) -> dict[str, Any]:
    """The actuals of a batch as `ActualsSerializer` reads them."""
    return {
        "batch": actuals.batch,
        "superfat": actuals.superfat,
        "lye_concentration": actuals.lye_concentration,
        "lye_heavy": actuals.lye_heavy,
        "complete": actuals.complete,
        "not_weighed": [line.row.position for line in actuals.lines if line.actual is None],
        "deviations": actuals.deviations,
        "cautions": list(cautions),
    }


class WeighingSerializer(StrictSerializer):
    """One reading out of one lot; `written` is what was typed. A line left out has no lot."""

    lot = serializers.CharField(source="lot.code", read_only=True, default=None, allow_null=True)
    amount = StockAmountField(counted="line.material.counted")
    written = serializers.CharField(read_only=True)
    note = serializers.CharField(read_only=True)
    weighed_at = serializers.DateTimeField(read_only=True)
    by = serializers.CharField(source="by.username", read_only=True, default=None, allow_null=True)


class SheetLineSerializer(StrictSerializer):
    """One thing to weigh or count; of `short` there is no lot.

    `amount` is what was weighed, else the target. `step` is the smallest that the scale shows;
    an actual is well weighed within the target plus or minus `tolerance`.
    """

    position = serializers.IntegerField(read_only=True)
    part = serializers.CharField(read_only=True)
    material = serializers.CharField(read_only=True)
    name = serializers.CharField(read_only=True)
    portion = serializers.CharField(read_only=True)
    target = StockAmountField(counted="counted")
    step = StockAmountField(counted="counted")
    tolerance = StockAmountField(counted="counted")
    actual = StockAmountField(counted="counted", allow_null=True)
    amount = StockAmountField(counted="counted")
    lots = LotAmountSerializer(many=True)
    short = StockAmountField(counted="counted")
    weighings = WeighingSerializer(many=True)


class SheetStageSerializer(StrictSerializer):
    """What goes in at one stage, in bench order."""

    stage = serializers.ChoiceField(choices=[stage.value for stage in Stage], read_only=True)
    lines = SheetLineSerializer(many=True)


class LyeStepSerializer(StrictSerializer):
    """The lye: dry alkali, stored lye and extra water to weigh, and the steps in words.

    `rinse` of the extra water is kept back to rinse the lye vessel.
    """

    naoh = grams(source="lye.naoh_ng")
    koh = grams(source="lye.koh_ng")
    masterbatch = grams(source="lye.masterbatch_ng")
    extra_water = grams(source="lye.water_ng")
    rinse = grams(source="lye.rinse_ng")
    concentration = ShownShare(source="batch.lye_concentration", allow_null=True)
    superfat = ShownShare(source="batch.superfat", allow_null=True)
    superfat_worst = ShownShare(source="batch.superfat_worst", allow_null=True)
    steps = serializers.ListField(child=serializers.CharField(), read_only=True)


class SheetPortionSerializer(StrictSerializer):
    """A part of the batter: plain batter to ladle off, and the colorants that go into it."""

    name = serializers.CharField(read_only=True)
    share = ShownShare()
    plain = grams(source="plain_ng")
    colorants = grams(source="colorants_ng")
    total = grams(source="total_ng")


class SheetLayerSerializer(StrictSerializer):
    """One pour, in order: how much of which portion, and where."""

    portion = serializers.CharField(source="layer.portion", read_only=True)
    place = serializers.ChoiceField(
        choices=[place.value for place in Place], source="layer.place.value", read_only=True
    )
    mass = grams(source="mass_ng")
    note = serializers.CharField(source="layer.note", read_only=True)


class SheetSerializer(StrictSerializer):
    """The sheet to weigh a batch by. The lots of an unreserved batch are a preview."""

    batch = serializers.CharField(source="batch.code", read_only=True)
    formula = serializers.CharField(source="batch.version.formula.code", read_only=True)
    formula_name = serializers.CharField(source="batch.version.formula.name", read_only=True)
    version = serializers.IntegerField(source="batch.version.number", read_only=True)
    mold = serializers.CharField(source="batch.mold.code", read_only=True, allow_null=True)
    state = serializers.CharField(source="batch.state", read_only=True)
    on = serializers.DateField(read_only=True)
    planned_by = serializers.CharField(source="batch.by.username", read_only=True, allow_null=True)
    cautions = CautionSerializer(many=True)
    scale_step = grams(source="batch.version.resolution")
    stages = SheetStageSerializer(many=True)
    lye = LyeStepSerializer()
    tempering = serializers.ListField(child=serializers.CharField(), read_only=True)
    portions = SheetPortionSerializer(many=True)
    layers = SheetLayerSerializer(many=True)
    pour_temperature = TemperatureField(source="batch.version.pour_temperature_c", read_only=True)
    safety = SafetySerializer(allow_null=True)
    actuals = ActualsSerializer()
    batter = grams(source="batch.batter")
    bars_planned = serializers.IntegerField(source="batch.bars_planned", read_only=True)
    cure_days = serializers.IntegerField(source="batch.version.cure_days", read_only=True)
    poured_on = serializers.DateField(source="batch.poured_on", read_only=True, allow_null=True)
    poured_lot = MadeLotSerializer(source="batch.poured_lot", read_only=True, allow_null=True)
    bar_lot = MadeLotSerializer(source="batch.bar_lot", read_only=True, allow_null=True)
    note = serializers.CharField(source="batch.note", read_only=True)


def shown_sheet(sheet: Sheet) -> dict[str, Any]:
    """A sheet as `SheetSerializer` reads it."""
    codes = line_codes(line.row for line in sheet.lines)
    return {
        "batch": sheet.batch,
        "on": sheet.on,
        "cautions": sheet.cautions,
        "stages": [
            {"stage": stage.value, "lines": [_sheet_line(line) for line in lines]}
            for stage, lines in sheet.stages
        ],
        "lye": sheet,
        "tempering": sheet.tempering,
        "portions": sheet.portions.portions,
        "layers": sheet.portions.layers,
        "safety": None if sheet.safety is None else shown_safety(sheet.safety, codes),
        "actuals": shown_actuals(sheet.actuals, sheet.cautions),
    }


def _sheet_line(line: SheetLine) -> dict[str, Any]:
    material = line.row.material
    return {
        "position": line.row.position,
        "part": line.row.part,
        "material": material.code,
        "name": material.name,
        "portion": line.row.portion,
        "target": line.row.planned,
        "step": 1 if material.counted else line.actual.step,
        "tolerance": line.actual.tolerance,
        "actual": line.actual.actual,
        "amount": line.amount,
        "counted": material.counted,
        "lots": [
            {"lot": one.lot, "amount": one.amount, "counted": material.counted} for one in line.lots
        ],
        "short": line.short,
        "weighings": line.actual.weighings,
    }
