"""The sheet of a batch and what was really made of it, as answers."""

from collections.abc import Iterable
from typing import Any

from rest_framework import serializers

from recipes.api.answers import (
    CautionSerializer,
    LotAmountSerializer,
    SafetySerializer,
    WeighedSerializer,
    grams,
    shown_safety,
)
from recipes.api.bench.batch_answers import MadeLotSerializer
from recipes.api.bench.portions import PortionWeightSerializer
from recipes.api.fields import TemperatureField
from recipes.domain.bench.cautions import Caution
from recipes.domain.formulas.formula import Stage
from recipes.models.bench.batches import Weighing
from recipes.services.bench.as_made import Actuals
from recipes.services.bench.sheets import Sheet, SheetLine
from recipes.services.scaling.portions import LayerWeight
from studio.web.api.answers import AnswerSerializer
from studio.web.api.serializers import StrictSerializer
from studio.web.serializer_fields.numbers import ShownShareField
from studio.web.serializer_fields.quantities import StockAmountField


class DeviationSerializer(StrictSerializer):
    """A line that was weighed otherwise than planned. `share` is the difference over the plan."""

    position = serializers.IntegerField(source="deviation.position")
    material = serializers.CharField(source="row.material.code")
    name = serializers.CharField(source="row.material.name")
    planned = StockAmountField(source="deviation.planned", counted="row.material.counted")
    actual = StockAmountField(source="deviation.actual", counted="row.material.counted")
    difference = StockAmountField(source="deviation.difference", counted="row.material.counted")
    share = ShownShareField(source="deviation.share")
    tolerance = StockAmountField(source="deviation.tolerance", counted="row.material.counted")
    outside = serializers.BooleanField(source="deviation.is_outside")


class RecordSerializer(StrictSerializer):
    """What was kept of the bench beside the weights."""

    oil_temperature = TemperatureField(source="oil_temperature_c", allow_null=True)
    lye_temperature = TemperatureField(source="lye_temperature_c", allow_null=True)
    poured_temperature = TemperatureField(source="poured_temperature_c", allow_null=True)
    trace_minutes = serializers.IntegerField(allow_null=True)
    poured = grams(source="poured_mass", allow_null=True)
    minutes = serializers.IntegerField(allow_null=True)


class ActualsSerializer(StrictSerializer):
    """What was really made. Lines not weighed yet count as planned in the figures.

    A batch that is `lye_heavy` is held once it is poured, until an owner decides.
    """

    batch = serializers.CharField(source="batch.code")
    state = serializers.CharField(source="batch.state")
    superfat = ShownShareField(allow_null=True)
    superfat_planned = ShownShareField(source="batch.superfat", allow_null=True)
    lye_concentration = ShownShareField(allow_null=True)
    lye_concentration_planned = ShownShareField(source="batch.lye_concentration", allow_null=True)
    lye_heavy = serializers.BooleanField()
    complete = serializers.BooleanField()
    not_weighed = serializers.ListField(child=serializers.IntegerField())
    deviations = DeviationSerializer(many=True)
    record = RecordSerializer(source="batch")
    note = serializers.CharField(source="batch.note")
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


class WeighingSerializer(AnswerSerializer):
    """One reading out of one lot; `written` is what was typed. A line left out has no lot."""

    shows = Weighing
    says = ("lot.code as lot", "amount", "written", "note", "weighed_at", "by.username as by")
    counted = "line.material.counted"


class SheetLineSerializer(StrictSerializer):
    """One thing to weigh or count; of `short` there is no lot.

    `amount` is what was weighed, else the target. `weighed` says on which scale, null for what is
    counted; `step` is the smallest that it shows; an actual is well weighed within the target plus
    or minus `tolerance`.
    """

    position = serializers.IntegerField()
    part = serializers.CharField()
    material = serializers.CharField()
    name = serializers.CharField()
    portion = serializers.CharField()
    target = StockAmountField(counted="counted")
    step = StockAmountField(counted="counted")
    weighed = WeighedSerializer(allow_null=True)
    tolerance = StockAmountField(counted="counted")
    actual = StockAmountField(counted="counted", allow_null=True)
    amount = StockAmountField(counted="counted")
    lots = LotAmountSerializer(many=True)
    short = StockAmountField(counted="counted")
    weighings = WeighingSerializer(many=True)


class SheetStageSerializer(StrictSerializer):
    """What goes in at one stage, in bench order."""

    stage = serializers.ChoiceField(choices=[stage.value for stage in Stage])
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
    concentration = ShownShareField(source="batch.lye_concentration", allow_null=True)
    superfat = ShownShareField(source="batch.superfat", allow_null=True)
    superfat_worst = ShownShareField(source="batch.superfat_worst", allow_null=True)
    steps = serializers.ListField(child=serializers.CharField())


class SheetLayerSerializer(AnswerSerializer):
    """One pour, in order: how much of which portion, and where."""

    shows = LayerWeight
    says = ("layer.portion", "layer.place", "mass_ng", "layer.note")


class SheetSerializer(AnswerSerializer):
    """The sheet to weigh a batch by. The lots of an unreserved batch are a preview."""

    shows = Sheet
    says = (
        *("batch.code as batch", "batch.version.formula.code as formula"),
        *("batch.version.formula.name as formula_name", "batch.version.number as version"),
        *("batch.mold.code as mold", "batch.state", "on", "batch.by.username as planned_by"),
        *("warnings", "cautions", "scale_step", "stages", "lye"),
        *("tempering", "portions", "layers", "pour_temperature", "safety", "actuals"),
        *("batch.batter", "batch.bars_planned", "batch.version.cure_days", "batch.poured_on"),
        *("poured_lot", "bar_lot", "batch.note"),
    )
    warnings = serializers.ListField(
        child=serializers.CharField(),
        help_text="Why it must not be made as it stands, and what its lots change.",
    )
    scale_step = grams(help_text="Of the finest scale; of the recipe where none is kept.")
    stages = SheetStageSerializer(many=True)
    lye = LyeStepSerializer()
    portions = PortionWeightSerializer(many=True)
    layers = SheetLayerSerializer(many=True)
    pour_temperature = TemperatureField(source="batch.version.pour_temperature_c")
    safety = SafetySerializer(allow_null=True)
    actuals = ActualsSerializer()
    poured_lot = MadeLotSerializer(source="batch.poured_lot", allow_null=True)
    bar_lot = MadeLotSerializer(source="batch.bar_lot", allow_null=True)


def shown_sheet(sheet: Sheet) -> dict[str, Any]:
    """A sheet as `SheetSerializer` reads it."""
    return {
        "batch": sheet.batch,
        "on": sheet.on,
        "warnings": sheet.warnings,
        "cautions": sheet.cautions,
        "scale_step": sheet.actuals.scales.finest_step_ng,
        "stages": [
            {"stage": stage.value, "lines": [_sheet_line(line) for line in lines]}
            for stage, lines in sheet.stages
        ],
        "lye": sheet,
        "tempering": sheet.tempering,
        "portions": sheet.portions.portions,
        "layers": sheet.portions.layers,
        "safety": None if sheet.safety is None else shown_safety(sheet.safety),
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
        "weighed": line.actual.weighed,
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
