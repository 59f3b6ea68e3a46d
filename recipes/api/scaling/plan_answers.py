"""A scaled recipe as an answer: of a stored version with its shelf, or of an inline formula."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from rest_framework import serializers

from recipes.api.answers import (
    CautionSerializer,
    LyeSerializer,
    NoticeSerializer,
    ProfileSerializer,
    SafetySerializer,
    ShelfLineSerializer,
    WeighedSerializer,
    grams,
    shown_safety,
    unique,
)
from recipes.api.bench.portions import PortionsSerializer
from recipes.api.targets import TargetAnswerSerializer, shown_target
from recipes.domain.bench.cautions import cautions_for
from recipes.domain.chemistry.fatty_acids import batch_profile
from recipes.domain.chemistry.safety import SafetyCheck
from recipes.domain.formulas.scaled import ScaledBatch, ScaledLine, written_target
from recipes.queries.scaling.plans import Plan, PlanLine
from recipes.services.bench.shelf import ShelfLine, batch_cautions
from recipes.services.scaling.portions import portions_of
from studio.web.api.serializers import StrictSerializer
from studio.web.serializer_fields.numbers import DecimalTextField
from studio.web.serializer_fields.quantities import BaseQuantityField, StockAmountField


class ScaledLineSerializer(StrictSerializer):
    """One thing to weigh or count. `exact` is its mass before rounding to the scale."""

    material = serializers.CharField()
    name = serializers.CharField()
    part = serializers.CharField()
    stage = serializers.CharField()
    portion = serializers.CharField()
    amount = StockAmountField(counted="counted")
    exact = grams()


class PlannedLineSerializer(ScaledLineSerializer):
    """The same with how it is weighed; null for what is counted."""

    weighed = WeighedSerializer(allow_null=True)


class ScaledSerializer(StrictSerializer):
    """A formula at its size, with its lye, safety figures, and the cautions.

    `batter` is all that is poured (of a blend: what comes out), `finished` what is left of it
    after the cure.
    """

    lines = ScaledLineSerializer(many=True)
    fats = grams(allow_null=True)
    batter = grams()
    batter_volume = BaseQuantityField(unit="mL", allow_null=True)
    density_g_ml = DecimalTextField(places=6, allow_null=True)
    finished = grams(allow_null=True)
    lye = LyeSerializer(allow_null=True)
    safety = SafetySerializer(allow_null=True)
    profile = ProfileSerializer(allow_null=True)
    notices = NoticeSerializer(many=True)
    cautions = CautionSerializer(many=True)


class PlanSerializer(ScaledSerializer):
    """A stored version at its size, and whether the shelf covers it on the day `on`."""

    lines = PlannedLineSerializer(many=True)
    formula = serializers.CharField()
    version = serializers.IntegerField()
    target = TargetAnswerSerializer()
    mold = serializers.CharField(allow_null=True)
    bars = serializers.IntegerField()
    bar_weight = grams()
    on = serializers.DateField()
    covered = serializers.BooleanField()
    pour = PortionsSerializer(allow_null=True)
    shelf = ShelfLineSerializer(many=True)


def shown_plan(plan: Plan, *, shelf: Sequence[ShelfLine], on: date) -> dict[str, Any]:
    """A plan and its shelf check as `PlanSerializer` reads them."""
    shown = _soap(plan) if plan.scaled is not None else _blend(plan)
    version = plan.loaded.version
    return {
        **shown,
        "lines": [_plan_line(line) for line in plan.lines],
        "formula": version.formula.code,
        "version": version.number,
        "target": shown_target(written_target(plan.target)),
        "mold": plan.wish.mold.code if plan.wish.mold else None,
        "bars": plan.bars,
        "bar_weight": plan.bar_weight_ng,
        "on": on,
        "covered": not any(line.short for line in shelf),
        "pour": portions_of(plan) if plan.scaled is not None else None,
        "shelf": shelf,
    }


def shown_scaled(scaled: ScaledBatch, safety: SafetyCheck) -> dict[str, Any]:
    """A scaled formula and its safety check as `ScaledSerializer` reads them."""
    return {
        "lines": [_scaled_line(line) for line in scaled.lines],
        "fats": scaled.fats_ng,
        "batter": scaled.batter_ng,
        "batter_volume": scaled.batter_volume_nl,
        "density_g_ml": scaled.density_g_ml,
        "finished": scaled.finished_ng,
        "lye": scaled,
        "safety": shown_safety(safety),
        "profile": batch_profile(scaled),
        "notices": unique([*scaled.notices, *safety.notices]),
        "cautions": cautions_for(masterbatch=bool(scaled.masterbatch_ng)),
    }


def _soap(plan: Plan) -> dict[str, Any]:
    assert plan.scaled is not None and plan.safety is not None
    return shown_scaled(plan.scaled, plan.safety)


def _blend(plan: Plan) -> dict[str, Any]:
    nothing = ("fats", "batter_volume", "density_g_ml", "finished", "lye", "safety", "profile")
    return {
        **dict.fromkeys(nothing),
        "batter": plan.output_ng,
        "notices": plan.notices,
        "cautions": batch_cautions(
            (line.material for line in plan.lines), soap=False, stored=False
        ),
    }


def _plan_line(line: PlanLine) -> dict[str, Any]:
    return {
        "material": line.material.code,
        "name": line.material.name,
        "part": line.part.value,
        "stage": line.stage.value,
        "portion": line.portion,
        "amount": line.amount,
        "counted": line.material.counted,
        "exact": line.exact_ng,
        "weighed": line.weighed,
    }


def _scaled_line(scaled: ScaledLine) -> dict[str, Any]:
    line = scaled.line
    return {
        "material": line.ingredient.code,
        "name": line.ingredient.name,
        "part": "line",
        "stage": line.stage.value,
        "portion": line.portion or "",
        "amount": scaled.stock_amount,
        "counted": line.ingredient.counted,
        "exact": scaled.exact_ng,
    }
