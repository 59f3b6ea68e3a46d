"""Plans over all levels: exploded, planned with all that is made for them, reserved as one."""

from collections.abc import Iterable
from typing import Any

from django.utils import timezone
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from recipes.api.bench.batch_answers import BatchSerializer, HeldBatchSerializer, shown_held
from recipes.api.bench.batch_bodies import CancelSerializer, PlanBatchSerializer
from recipes.api.fields import DayField
from recipes.api.levels.answers import ExplosionSerializer, PartSerializer, shown_explosion
from recipes.api.targets import ScaleRequestSerializer, wish_of
from recipes.models.bench.batches import Batch
from recipes.models.formulas.formulas import Formula
from recipes.queries.bench.batches import batches_by_code
from recipes.queries.formulas.formulas import load_formula
from recipes.services.bench.needs import cautions_of
from recipes.services.levels.explosion import explode_plan
from recipes.services.levels.multilevel import HeldBatch, cancel_tree, plan_tree, reserve_tree
from recipes.services.scaling.planning import make_plan
from studio.foundation.roles import Capability
from studio.web.api.callers import caller
from studio.web.api.serializers import StrictSerializer
from studio.web.api.stock_changing import stock_changing
from studio.web.api.viewsets import StudioViewSet


class PlannedTreeSerializer(StrictSerializer):
    """The batch that was planned, those that make what it is short of, and why.

    `making` comes in the order of making. Cautions stand in the explosion.
    """

    batch = BatchSerializer()
    making = BatchSerializer(many=True)
    explosion = ExplosionSerializer()


class ReserveTreeSerializer(StrictSerializer):
    """How to reserve a batch and all that is planned for it.

    `keep` holds what is made for the tree as soon as it is there; `reset_lye` sets the lye of the
    batch at the top on the own values of the lots it holds.
    """

    expires_on = DayField(required=False)
    keep = serializers.BooleanField(default=True)
    reset_lye = serializers.BooleanField(default=False)


class HeldOfTreeSerializer(HeldBatchSerializer):
    """A batch of a tree; `waits` is what it needs of materials that are still to be made."""

    waits = PartSerializer(many=True)


class ReservedTreeSerializer(StrictSerializer):
    """All that was reserved, in the order of making."""

    batches = HeldOfTreeSerializer(many=True)


class CancelledTreeSerializer(StrictSerializer):
    """All that was called off."""

    batches = BatchSerializer(many=True)


class ExplosionViewSet(StudioViewSet):
    """What must be made first. Stores nothing."""

    queryset = Formula.objects.all()
    serializer_class = ExplosionSerializer
    given_serializers = {"explode": ScaleRequestSerializer}
    rules = {"explode": (Capability.COMPUTE, Capability.READ)}

    @action(detail=True, methods=["post"])
    def explode(self, request: Request, code: str) -> Response:
        """What a version at a size needs on a day, over all levels of what is made here.

        The shelf is netted on each level. Stores nothing.
        """
        given = self.read(request)
        loaded = load_formula(code=code, number=given.get("version"))
        plan = make_plan(loaded, wish_of(given["target"]))
        exploded = explode_plan(plan, on=given.get("on") or timezone.localdate())
        return self.answer(shown_explosion(exploded))


class TreeViewSet(StudioViewSet):
    """A batch with all that is made for it. Lye burns: the answers carry the cautions."""

    queryset = Batch.objects.all()
    serializer_class = PlannedTreeSerializer
    given_serializers = {
        "tree": PlanBatchSerializer,
        "reserve_tree": ReserveTreeSerializer,
        "cancel_tree": CancelSerializer,
    }
    answer_serializers = {
        "reserve_tree": ReservedTreeSerializer,
        "cancel_tree": CancelledTreeSerializer,
    }
    rules = dict.fromkeys(("tree", "reserve_tree", "cancel_tree"), Capability.PLAN)
    statuses = {"tree": 201}

    @action(detail=False, methods=["post"])
    @stock_changing
    def tree(self, request: Request) -> Response:
        """Plan a batch and the batches that make what it is short of, over all levels."""
        given = self.read(request)
        loaded = load_formula(code=given["formula"], number=given.get("version"))
        made = plan_tree(
            make_plan(loaded, wish_of(given["target"])),
            planned_on=given["planned_on"],
            note=given["note"],
            by=caller(request),
        )
        shown = batches_by_code([made.top.code, *(batch.code for batch in made.making)])
        return self.answer(
            {
                "batch": shown[made.top.code],
                "making": [shown[batch.code] for batch in made.making],
                "explosion": shown_explosion(made.exploded),
            }
        )

    @action(detail=True, methods=["post"], url_path="reserve-tree")
    @stock_changing
    def reserve_tree(self, request: Request, code: str) -> Response:
        """Hold what a batch and all that is planned for it need: all levels, or nothing.

        A shortage names every short material over all levels. What is still to be made is not
        held: it stays required until it is there.
        """
        found = reserve_tree(code, **self.read(request), by=caller(request))
        return self.answer({"batches": _shown(found)})

    @action(detail=True, methods=["post"], url_path="cancel-tree")
    @stock_changing
    def cancel_tree(self, request: Request, code: str) -> Response:
        """Call off a batch and what was planned for it; what is made already stays."""
        gone = cancel_tree(code, by=caller(request), **self.read(request))
        shown = batches_by_code([batch.code for batch in gone])
        return self.answer({"batches": list(shown.values())})


def _shown(found: Iterable[HeldBatch]) -> list[dict[str, Any]]:
    held = list(found)
    batches = batches_by_code([each.batch.code for each in held])
    shown = []
    for each in held:
        batch = batches[each.batch.code]
        materials = {row.material_id: row.material for row in each.rows}
        waits = [
            {
                "material": materials[pk].code,
                "name": materials[pk].name,
                "amount": amount,
                "counted": materials[pk].counted,
            }
            for pk, amount in each.waits.items()
        ]
        answer = shown_held(batch, each.held.lots, each.safety, cautions_of(batch))
        shown.append({**answer, "waits": waits})
    return shown
