"""Batches from the plan to released bars, and what their verbs are told."""

from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from typing import Any

from django.utils import timezone
from django_filters import rest_framework as filters
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from recipes.api.bench import batch_answers as answers
from recipes.api.bench.chosen import (
    MOST_CHOSEN,
    ActualSerializer,
    ChosenSerializer,
    PackedSerializer,
    names_of,
)
from recipes.api.fields import AcceptWorstField, DayField
from recipes.api.targets import TargetSerializer, wish_of
from recipes.domain.chemistry.safety import SafetyCheck
from recipes.domain.weighing import MOST_BARS
from recipes.models.bench.batches import Batch, BatchState
from recipes.queries.bench.batches import PEOPLE, batch_by_code
from recipes.queries.bench.judgements import judgements_of
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import make_plan
from recipes.services.bench.batches import cancel_batch, unreserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.bench.shelf import cautions_of, shelf_of
from recipes.services.cure.finishing import Cured, Cut, cure_batch, cut_batch
from recipes.services.cure.mass_at_cut import LONGEST_REASON
from recipes.services.formulas.version_check import MOST_MINUTES
from recipes.services.levels.multilevel import reserve_planned
from recipes.services.scaling.planning import plan_batch
from studio.foundation.roles import Capability
from studio.web.api.callers import caller
from studio.web.api.lists.filtering import Filters, by_code
from studio.web.api.serializers import StrictSerializer
from studio.web.api.verbs import look, verb
from studio.web.api.viewsets import ReadOnlyStudioViewSet
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
    """Labor of a step, in minutes; left out or null, nobody told it, which is not 0."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            min_value=0, max_value=MOST_MINUTES, default=None, allow_null=True, **kwargs
        )


class PlanBatchSerializer(StrictSerializer):
    """A batch to plan: of the formula's current version unless told."""

    formula = serializers.SlugField(max_length=40)
    version = serializers.IntegerField(min_value=1, max_value=10**6, required=False)
    planned_on = DayField()
    target = TargetSerializer()
    note = NoteField()


class ReserveSerializer(StrictSerializer):
    """Lots to use first, else first-expired-first-out; the last day on which it is held.

    `reset_lye` sets the lye of a soap anew on the own values of the lots that are held, so a stored
    lye that is weaker or stronger than on paper gives the superfat that was planned. `on` is the
    day of use by which lots are judged: the batch's own if left out, and today first for a batch
    whose day has passed.
    """

    chosen = ChosenSerializer(many=True, required=False, max_length=MOST_CHOSEN)  # type: ignore[call-arg]
    expires_on = DayField(required=False)
    on = DayField(required=False)
    reset_lye = serializers.BooleanField(default=False)
    accept_worst = AcceptWorstField()


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
    accept_worst = AcceptWorstField()


class CutSerializer(StrictSerializer):
    """The cut, in bars and, where they were taken, weights.

    With `keep_ends` the weighed ends go into stock as a material for later batches. They bear
    `ends_cost_share` of what the poured soap cost, or without it their part of its weight. What is
    weighed comes to no more than what was poured; `reason` says why more than 10 % of it was lost
    or bars are more than 25 % off their planned weight.
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
    reason = serializers.CharField(max_length=LONGEST_REASON, allow_blank=True, default="")


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


class BatchFilters(Filters):
    """Batches by state, formula, mold and planned day (both ends inclusive)."""

    state = filters.ChoiceFilter(choices=BatchState.choices)
    formula = by_code("version__formula")
    mold = by_code("mold")
    planned_from = filters.DateFilter(field_name="planned_on", lookup_expr="gte")
    planned_to = filters.DateFilter(field_name="planned_on", lookup_expr="lte")


class BatchViewSet(ReadOnlyStudioViewSet):
    """Batches: planned, reserved, poured, cut, cured. Each step is a POST, done once for a key.

    Lye burns: the sheet and every answer that leads to mixing it carry the cautions.
    """

    queryset = Batch.objects.select_related(
        *("version__formula", "mold", "reservation", "planned_for", "poured_lot", "bar_lot"),
        *PEOPLE,
    ).prefetch_related("lines__material")
    serializer_class = answers.BatchSerializer
    filterset_class = BatchFilters
    ordering = ("-id",)

    @verb(Capability.PLAN, given=PlanBatchSerializer, status=201)
    def create(self, request: Request, given: Any) -> Any:
        """Plan a batch: a version scaled to a target. It requires its materials by that day."""
        loaded = load_formula(code=given["formula"], number=given.get("version"))
        plan = make_plan(loaded, wish_of(given["target"]))
        batch = plan_batch(
            plan, planned_on=given["planned_on"], note=given["note"], by=caller(request)
        )
        return self.made(batch_by_code(batch.code))

    @verb(Capability.PLAN, given=ReserveSerializer, answer=answers.HeldBatchSerializer)
    def reserve(self, request: Request, code: str, given: Any) -> Any:
        """Hold all that the batch needs, or nothing; a shortage names every short material.

        Where batches are planned for it and no lots are chosen, it is reserved with them.
        """
        named = names_of(code).choices(given.get("chosen", ()))
        with named.told():
            made = reserve_planned(
                code,
                chosen=named.choices,
                expires_on=given.get("expires_on"),
                reset_lye=given["reset_lye"],
                on=given.get("on"),
                accept_worst=given.get("accept_worst"),
                by=caller(request),
            )
        return self._held(code, made.held.lots, made.safety)

    @verb(Capability.PLAN)
    def unreserve(self, request: Request, code: str) -> Any:
        """Give back what the batch holds; it is planned again."""
        unreserve_batch(code, by=caller(request))
        return self._shown(code)

    @verb(Capability.MAKE, given=PourSerializer, answer=answers.HeldBatchSerializer)
    def pour(self, request: Request, code: str, given: Any) -> Any:
        """Consume what was weighed and open the lot of poured soap, or of a blend."""
        names = names_of(code)
        named = names.choices(given.get("chosen", ()))
        poured = Poured(
            on=given["on"],
            actual=names.actual(given.get("actual", ())),
            chosen=named.choices,
            output_ng=given.get("poured"),
            minutes=given["minutes"],
            note=given["note"],
            accept_worst=given.get("accept_worst"),
        )
        with named.told():
            made = pour_batch(code, poured, by=caller(request))
        return self._held(code, [(take.lot, take.amount) for take in made.taken], made.safety)

    @verb(Capability.MAKE, given=CutSerializer)
    def cut(self, request: Request, code: str, given: Any) -> Any:
        """Turn the poured soap into a lot of bars, in quarantine until the cure is over."""
        cut_batch(code, Cut(**given), by=caller(request))
        return self._shown(code)

    @verb(Capability.MAKE, given=CureSerializer)
    def cure(self, request: Request, code: str, given: Any) -> Any:
        """Pack and release the bars; earlier than the cure allows only with a reason."""
        names = names_of(code)
        named = names.choices(given.pop("chosen", ()))
        packed = names.packed(given.pop("packed", ()))
        with named.told():
            cure_batch(
                code, Cured(packed=packed, chosen=named.choices, **given), by=caller(request)
            )
        return self._shown(code)

    @verb(Capability.PLAN, given=CancelSerializer)
    def cancel(self, request: Request, code: str, given: Any) -> Any:
        """Call off a batch that is not poured: what it holds and requires is free again."""
        cancel_batch(code, by=caller(request), **given)
        return self._shown(code)

    @look(Capability.READ, answer=answers.BatchShelfSerializer)
    def shelf(self, request: Request, code: str) -> Any:
        """Whether what is held and what is open cover what the batch still needs."""
        return shelf_of(code)

    @look(Capability.READ, answer=answers.JudgedSerializer)
    def judged(self, request: Request, code: str) -> Any:
        """What was judged of the batch again after something that it rests on changed."""
        return {"judged": judgements_of(batch_by_code(code))}

    def _shown(self, code: str) -> Response:
        return self.answer(batch_by_code(code))

    def _held(
        self, code: str, lots: Iterable[tuple[Any, int]], safety: SafetyCheck | None
    ) -> Response:
        batch = batch_by_code(code)
        return self.answer(answers.shown_held(batch, lots, safety, cautions_of(batch)))
