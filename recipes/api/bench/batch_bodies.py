"""What the verbs of a batch are told."""

from datetime import date
from decimal import Decimal
from typing import Any

from django.utils import timezone
from rest_framework import serializers

from recipes.api.bench.chosen import (
    MOST_CHOSEN,
    ActualSerializer,
    ChosenSerializer,
    PackedSerializer,
)
from recipes.api.fields import DayField
from recipes.api.targets import TargetSerializer
from recipes.domain.weighing import MOST_BARS
from recipes.services.formulas.version_check import MOST_MINUTES
from studio.web.api.serializers import StrictSerializer
from studio.web.serializer_fields.numbers import ShareField
from studio.web.serializer_fields.quantities import BaseQuantityField


def today() -> date:
    """The day of the studio."""
    return timezone.localdate()


class NoteField(serializers.CharField):
    """Free words."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=4000, allow_blank=True, default="", **kwargs)


class MinutesField(serializers.IntegerField):
    """Labor of a step, in minutes."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=0, max_value=MOST_MINUTES, default=0, **kwargs)


class PlanBatchSerializer(StrictSerializer):
    """A batch to plan: of the formula's newest version unless told."""

    formula = serializers.SlugField(max_length=40)
    version = serializers.IntegerField(min_value=1, max_value=10**6, required=False)
    planned_on = DayField()
    target = TargetSerializer()
    note = NoteField()


class NothingSerializer(StrictSerializer):
    """A verb that is told nothing: send {}."""


class ReserveSerializer(StrictSerializer):
    """Lots to use first, else first-expired-first-out; the last day on which it is held.

    `reset_lye` sets the lye of a soap anew on the own values of the lots that are held, so a stored
    lye that is weaker or stronger than on paper gives the superfat that was planned.
    """

    chosen = ChosenSerializer(many=True, required=False, max_length=MOST_CHOSEN)  # type: ignore[call-arg]
    expires_on = DayField(required=False)
    reset_lye = serializers.BooleanField(default=False)


class PourSerializer(StrictSerializer):
    """What happened at the bench; what is left out went as weighed, else by the plan.

    `poured` is what was poured (or made) as weighed. Chosen lots state their amounts.
    """

    on = DayField(default=today)
    actual = ActualSerializer(many=True, required=False, max_length=MOST_CHOSEN)  # type: ignore[call-arg]
    chosen = ChosenSerializer(many=True, required=False, max_length=MOST_CHOSEN)  # type: ignore[call-arg]
    poured = BaseQuantityField(unit="g", required=False)
    minutes = MinutesField()
    note = NoteField()


class CutSerializer(StrictSerializer):
    """The cut, in bars and, where they were taken, weights.

    With `keep_ends` the weighed ends go into stock as a material for later batches. They bear
    `ends_cost_share` of what the poured soap cost, or without it their part of its weight.
    """

    on = DayField(default=today)
    bars_good = serializers.IntegerField(min_value=0, max_value=MOST_BARS)
    bars_rejected = serializers.IntegerField(min_value=0, max_value=MOST_BARS, default=0)
    bars_rejected_abnormal = serializers.IntegerField(
        min_value=0,
        max_value=MOST_BARS,
        default=0,
        help_text="Of the rejects, those of an unusual loss: an expense of its own.",
    )
    good_weight = BaseQuantityField(unit="g", required=False)
    rejected_weight = BaseQuantityField(unit="g", required=False)
    ends_weight = BaseQuantityField(unit="g", required=False)
    keep_ends = serializers.BooleanField(default=False)
    ends_cost_share = ShareField(max_value=Decimal("0.999999"), required=False)
    minutes = MinutesField()
    note = NoteField()


class CureSerializer(StrictSerializer):
    """The end of the cure. `packed` is what was used of packaging where it differs."""

    on = DayField(default=today)
    packed = PackedSerializer(many=True, required=False, max_length=MOST_CHOSEN)  # type: ignore[call-arg]
    chosen = ChosenSerializer(many=True, required=False, max_length=MOST_CHOSEN)  # type: ignore[call-arg]
    minutes = MinutesField()
    early_reason = serializers.CharField(max_length=1000, allow_blank=True, default="")
    note = NoteField()


class CancelSerializer(StrictSerializer):
    """Why it is called off."""

    reason = serializers.CharField(max_length=1000, allow_blank=True, default="")
