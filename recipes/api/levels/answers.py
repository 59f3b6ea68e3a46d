"""An exploded plan as an answer: its tree, the batches to make first, and what is short."""

from typing import Any

from rest_framework import serializers

from recipes.api.answers import CautionSerializer, grams
from recipes.api.target_answers import TargetAnswerSerializer, shown_target
from recipes.domain.formulas.scaled import written_target
from recipes.domain.levels.explosion import Need, Proposal
from recipes.services.bench.needs import batch_cautions
from recipes.services.levels.explosion import ExplodedPlan, Node, tree_of
from studio.web.api.serializers import StrictSerializer
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
