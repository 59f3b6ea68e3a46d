"""The sheet of a batch and its actuals, as answers."""

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
from recipes.api.bench.actuals_answers import ActualsSerializer, shown_actuals
from recipes.api.bench.batch_answers import MadeLotSerializer, line_codes
from recipes.api.fields import TemperatureField
from recipes.domain.bench.pours import Place
from recipes.domain.formulas.formula import Stage
from recipes.services.bench.sheets import Sheet, SheetLine
from studio.web.api.serializers import StrictSerializer
from studio.web.serializer_fields.quantities import StockAmountField


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

    naoh = grams()
    koh = grams()
    masterbatch = grams()
    extra_water = grams()
    rinse = grams()
    concentration = ShownShare(allow_null=True)
    superfat = ShownShare(allow_null=True)
    superfat_worst = ShownShare(allow_null=True)
    steps = serializers.ListField(child=serializers.CharField(), read_only=True)


class SheetPortionSerializer(StrictSerializer):
    """A part of the batter: plain batter to ladle off, and the colorants that go into it."""

    name = serializers.CharField(read_only=True)
    share = ShownShare()
    plain = grams()
    colorants = grams()
    total = grams()


class SheetLayerSerializer(StrictSerializer):
    """One pour, in order: how much of which portion, and where."""

    portion = serializers.CharField(read_only=True)
    place = serializers.ChoiceField(choices=[place.value for place in Place], read_only=True)
    mass = grams()
    note = serializers.CharField(read_only=True)


class SheetSerializer(StrictSerializer):
    """The sheet to weigh a batch by. The lots of an unreserved batch are a preview."""

    batch = serializers.CharField(read_only=True)
    formula = serializers.CharField(read_only=True)
    formula_name = serializers.CharField(read_only=True)
    version = serializers.IntegerField(read_only=True)
    mold = serializers.CharField(read_only=True, allow_null=True)
    state = serializers.CharField(read_only=True)
    on = serializers.DateField(read_only=True)
    planned_by = serializers.CharField(read_only=True, allow_null=True)
    cautions = CautionSerializer(many=True)
    scale_step = grams()
    stages = SheetStageSerializer(many=True)
    lye = LyeStepSerializer()
    tempering = serializers.ListField(child=serializers.CharField(), read_only=True)
    portions = SheetPortionSerializer(many=True)
    layers = SheetLayerSerializer(many=True)
    pour_temperature = TemperatureField(read_only=True)
    safety = SafetySerializer(allow_null=True)
    actuals = ActualsSerializer()
    batter = grams()
    bars_planned = serializers.IntegerField(read_only=True)
    cure_days = serializers.IntegerField(read_only=True)
    poured_on = serializers.DateField(read_only=True, allow_null=True)
    poured_lot = MadeLotSerializer(read_only=True, allow_null=True)
    bar_lot = MadeLotSerializer(read_only=True, allow_null=True)
    note = serializers.CharField(read_only=True)


def shown_sheet(sheet: Sheet) -> dict[str, Any]:
    """A sheet as `SheetSerializer` reads it."""
    batch = sheet.batch
    codes = line_codes(line.row for line in sheet.lines)
    return {
        "batch": batch.code,
        "formula": batch.version.formula.code,
        "formula_name": batch.version.formula.name,
        "version": batch.version.number,
        "mold": batch.mold.code if batch.mold else None,
        "state": batch.state,
        "on": sheet.on,
        "planned_by": batch.by.get_username() if batch.by else None,
        "cautions": sheet.cautions,
        "scale_step": batch.version.resolution,
        "stages": [
            {"stage": stage.value, "lines": [_sheet_line(line) for line in lines]}
            for stage, lines in sheet.stages
        ],
        "lye": _lye(sheet),
        "tempering": sheet.tempering,
        **_portions(sheet),
        "pour_temperature": batch.version.pour_temperature_c,
        "safety": None if sheet.safety is None else shown_safety(sheet.safety, codes),
        "actuals": shown_actuals(sheet.actuals, sheet.cautions),
        "batter": batch.batter,
        "bars_planned": batch.bars_planned,
        "cure_days": batch.version.cure_days,
        "poured_on": batch.poured_on,
        "poured_lot": batch.poured_lot,
        "bar_lot": batch.bar_lot,
        "note": batch.note,
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


def _lye(sheet: Sheet) -> dict[str, Any]:
    lye, batch = sheet.lye, sheet.batch
    return {
        "naoh": lye.naoh_ng,
        "koh": lye.koh_ng,
        "masterbatch": lye.masterbatch_ng,
        "extra_water": lye.water_ng,
        "rinse": lye.rinse_ng,
        "concentration": batch.lye_concentration,
        "superfat": batch.superfat,
        "superfat_worst": batch.superfat_worst,
        "steps": sheet.steps,
    }


def _portions(sheet: Sheet) -> dict[str, Any]:
    return {
        "portions": [
            {
                "name": one.name,
                "share": one.share,
                "plain": one.plain_ng,
                "colorants": one.colorants_ng,
                "total": one.total_ng,
            }
            for one in sheet.portions.portions
        ],
        "layers": [
            {
                "portion": one.layer.portion,
                "place": one.layer.place.value,
                "mass": one.mass_ng,
                "note": one.layer.note,
            }
            for one in sheet.portions.layers
        ],
    }
