"""Plans over all levels: exploded, planned with all that is made for them, reserved as one."""

from collections.abc import Iterable
from typing import Any

from django.utils import timezone
from rest_framework import serializers
from rest_framework.request import Request

from recipes.api.answers import CautionSerializer, grams
from recipes.api.bench.batch_answers import BatchSerializer, HeldBatchSerializer, shown_held
from recipes.api.bench.batches import CancelSerializer, PlanBatchSerializer
from recipes.api.fields import AcceptWorstField, DayField
from recipes.api.targets import (
    ScaleRequestSerializer,
    TargetAnswerSerializer,
    shown_target,
    wish_of,
)
from recipes.domain.formulas.scaled import written_target
from recipes.domain.levels.explosion import Need, Proposal
from recipes.models.bench.batches import Batch
from recipes.models.formulas.formulas import Formula
from recipes.queries.bench.batches import batches_by_code
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import make_plan
from recipes.services.bench.shelf import batch_cautions, cautions_of
from recipes.services.levels.explosion import ExplodedPlan, Node, explode_plan, tree_of
from recipes.services.levels.multilevel import HeldBatch, cancel_tree, plan_tree, reserve_tree
from studio.foundation.roles import Capability
from studio.web.api.callers import caller
from studio.web.api.serializers import StrictSerializer
from studio.web.api.verbs import verb
from studio.web.api.viewsets import StudioViewSet
from studio.web.serializer_fields.quantities import StockAmountField


class TreeNodeSerializer(StrictSerializer):
    """A material that the node above needs (of level 1: the batch at the top).

    `under` is the place of the node above in this list, counted from 0; `order` is that of the
    batch that makes it. What stands below a material is shown once; `repeated` says it was.
    """

    level = serializers.IntegerField(read_only=True)
    under = serializers.IntegerField(read_only=True, allow_null=True)
    material = serializers.CharField(read_only=True)
    name = serializers.CharField(read_only=True)
    needed = StockAmountField(counted="counted")
    order = serializers.IntegerField(read_only=True, allow_null=True)
    repeated = serializers.BooleanField(read_only=True)


class NeedSerializer(StrictSerializer):
    """One material over all batches that use it.

    `available` is on the shelf, `being_made` by planned batches, `promised` to other plans;
    `free` of it is there for this plan by `needed_by`. `first_on` is the earliest day on which it
    could be whole: null when nobody offers it.
    """

    material = serializers.CharField(read_only=True)
    name = serializers.CharField(read_only=True)
    needed = StockAmountField(counted="counted")
    available = StockAmountField(counted="counted")
    being_made = StockAmountField(counted="counted")
    promised = StockAmountField(counted="counted")
    free = StockAmountField(counted="counted")
    short = StockAmountField(counted="counted")
    needed_by = serializers.DateField(read_only=True)
    first_on = serializers.DateField(read_only=True, allow_null=True)


class PartSerializer(StrictSerializer):
    """So much of a material."""

    material = serializers.CharField(read_only=True)
    name = serializers.CharField(read_only=True)
    amount = StockAmountField(counted="counted")


class ProposedBatchSerializer(NeedSerializer):
    """A batch to make, in its place in the order of making.

    Start it on `start_on`; it is ready on `ready_on`, and `late` when that is after `needed_by`.
    `makes` covers what is short, in steps of the scale and no less than the formula's least.
    `used_by` names what is made of it; the batch at the top is "".
    """

    order = serializers.IntegerField(read_only=True)
    formula = serializers.CharField(read_only=True)
    version = serializers.IntegerField(read_only=True)
    makes = grams()
    start_on = serializers.DateField(read_only=True)
    ready_on = serializers.DateField(read_only=True)
    late = serializers.BooleanField(read_only=True)
    used_by = serializers.ListField(child=serializers.CharField(), read_only=True)
    parts = PartSerializer(many=True)


class ExplosionSerializer(StrictSerializer):
    """What a plan needs on the day `on` over all levels.

    `tree` lists each node before what stands below it; `batches` come in the order in which they
    are made; `materials` are all that is needed, `shortages` what is short and not made here.
    `earliest_on` is the first day on which all could be there; null when something cannot be had.
    """

    formula = serializers.CharField(read_only=True)
    version = serializers.IntegerField(read_only=True)
    target = TargetAnswerSerializer()
    bars = serializers.IntegerField(read_only=True)
    output = grams()
    on = serializers.DateField(read_only=True)
    covered = serializers.BooleanField(read_only=True)
    earliest_on = serializers.DateField(read_only=True, allow_null=True)
    tree = TreeNodeSerializer(many=True)
    batches = ProposedBatchSerializer(many=True)
    materials = NeedSerializer(many=True)
    shortages = NeedSerializer(many=True)
    cautions = CautionSerializer(many=True)


def shown_explosion(exploded: ExplodedPlan) -> dict[str, Any]:
    """An exploded plan as `ExplosionSerializer` reads it."""
    version, found = exploded.plan.loaded.version, exploded.found
    needs = sorted(found.needs.values(), key=lambda need: exploded.materials[need.material].code)
    return {
        "formula": version.formula.code,
        "version": version.number,
        "target": shown_target(written_target(exploded.plan.target)),
        "bars": exploded.plan.bars,
        "output": exploded.plan.output_ng,
        "on": exploded.on,
        "covered": not any(need.short for need in needs),
        "earliest_on": found.first_on,
        "tree": [_node(exploded, node) for node in tree_of(exploded)],
        "batches": [
            _proposed(exploded, order, proposal)
            for order, proposal in enumerate(found.proposals, start=1)
        ],
        "materials": [_need(exploded, need) for need in needs],
        "shortages": [_need(exploded, need) for need in found.shortages],
        "cautions": _cautions(exploded),
    }


def _node(exploded: ExplodedPlan, node: Node) -> dict[str, Any]:
    return {
        **_material(exploded, node.material),
        "level": node.level,
        "under": node.under,
        "needed": node.needed,
        "order": None if node.proposal is None else node.proposal + 1,
        "repeated": node.repeated,
    }


def _need(exploded: ExplodedPlan, need: Need) -> dict[str, Any]:
    supply = exploded.supply[need.material]
    return {
        **_material(exploded, need.material),
        "needed": need.needed,
        "available": supply.available,
        "being_made": sum(amount for _, amount in supply.coming),
        "promised": sum(amount for _, amount in supply.promised),
        "free": need.free,
        "short": need.short,
        "needed_by": need.due_on,
        "first_on": need.first_on,
    }


def _proposed(exploded: ExplodedPlan, order: int, proposal: Proposal) -> dict[str, Any]:
    plan = exploded.plans[proposal.need.material]
    return {
        **_need(exploded, proposal.need),
        "order": order,
        "formula": plan.loaded.version.formula.code,
        "version": plan.loaded.version.number,
        "makes": proposal.sized.output,
        "start_on": proposal.start_on,
        "ready_on": proposal.ready_on,
        "late": proposal.late,
        "used_by": [
            "" if user is None else exploded.materials[user].code for user in proposal.users
        ],
        "parts": [
            {**_material(exploded, material), "amount": amount}
            for material, amount in proposal.sized.needs.items()
        ],
    }


def _material(exploded: ExplodedPlan, pk: int) -> dict[str, Any]:
    material = exploded.materials[pk]
    return {"material": material.code, "name": material.name, "counted": material.counted}


def _cautions(exploded: ExplodedPlan) -> list[Any]:
    """The cautions of the batch at the top and of all that is made for it, each once."""
    found = {}
    for plan in (exploded.plan, *exploded.plans.values()):
        soap = plan.scaled is not None
        stored = plan.scaled is not None and bool(plan.scaled.masterbatch_ng)
        materials = (line.material for line in plan.lines)
        for caution in batch_cautions(materials, soap=soap, stored=stored):
            found[caution.code] = caution
    return list(found.values())


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
    batch at the top on the own values of the lots it holds; `on` is the day of use by which lots
    are judged.
    """

    expires_on = DayField(required=False)
    on = DayField(required=False)
    keep = serializers.BooleanField(default=True)
    reset_lye = serializers.BooleanField(default=False)
    accept_worst = AcceptWorstField()


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

    @verb((Capability.COMPUTE, Capability.READ), given=ScaleRequestSerializer, once=False)
    def explode(self, request: Request, code: str, given: Any) -> Any:
        """What a version at a size needs on a day, over all levels of what is made here.

        The shelf is netted on each level. Stores nothing.
        """
        loaded = load_formula(code=code, number=given.get("version"))
        plan = make_plan(loaded, wish_of(given["target"]))
        exploded = explode_plan(plan, on=given.get("on") or timezone.localdate())
        return shown_explosion(exploded)


class TreeViewSet(StudioViewSet):
    """A batch with all that is made for it. Lye burns: the answers carry the cautions."""

    queryset = Batch.objects.all()
    serializer_class = PlannedTreeSerializer

    @verb(Capability.PLAN, given=PlanBatchSerializer, status=201, detail=False)
    def tree(self, request: Request, given: Any) -> Any:
        """Plan a batch and the batches that make what it is short of, over all levels."""
        loaded = load_formula(code=given["formula"], number=given.get("version"))
        made = plan_tree(
            make_plan(loaded, wish_of(given["target"])),
            planned_on=given["planned_on"],
            note=given["note"],
            by=caller(request),
        )
        shown = batches_by_code([made.top.code, *(batch.code for batch in made.making)])
        return {
            "batch": shown[made.top.code],
            "making": [shown[batch.code] for batch in made.making],
            "explosion": shown_explosion(made.exploded),
        }

    @verb(
        Capability.PLAN,
        given=ReserveTreeSerializer,
        answer=ReservedTreeSerializer,
    )
    def reserve_tree(self, request: Request, code: str, given: Any) -> Any:
        """Hold what a batch and all that is planned for it need: all levels, or nothing.

        A shortage names every short material over all levels. What is still to be made is not
        held: it stays required until it is there.
        """
        found = reserve_tree(code, **given, by=caller(request))
        return {"batches": _shown(found)}

    @verb(Capability.PLAN, given=CancelSerializer, answer=CancelledTreeSerializer)
    def cancel_tree(self, request: Request, code: str, given: Any) -> Any:
        """Call off a batch and what was planned for it; what is made already stays."""
        gone = cancel_tree(code, by=caller(request), **given)
        shown = batches_by_code([batch.code for batch in gone])
        return {"batches": list(shown.values())}


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
