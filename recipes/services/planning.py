"""From a recipe and a target to a plan: amounts, safety, and what it asks of the shelf.

`make_plan` stores nothing: the scale page, the shelf check and the cost of a plan all start from
it. `plan_batch` keeps a plan as a batch and tells the shelf what it will need.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

from django.db import transaction
from django.utils import timezone

from inventory.services.requirements import expect, require
from recipes.domain.blends import ScaledBlend, scale_blend
from recipes.domain.explosion import days_after
from recipes.domain.formula import Stage
from recipes.domain.safety import SafetyCheck, recheck
from recipes.domain.scaled import BatterTarget, ScaledBatch, Target, written_target
from recipes.domain.scaling import scale
from recipes.errors import ScalingRefusal
from recipes.models import Batch, BatchLine, FormulaVersion
from recipes.queries.batches import batch_needs
from recipes.queries.formulas import LoadedFormula
from recipes.services.events import batch_planned
from recipes.services.sizes import Wish, bar_weight, scaling_target
from studio.numbering import next_code

if TYPE_CHECKING:
    from django.contrib.auth.models import User

    from inventory.models import Material

__all__ = ["Plan", "PlanLine", "Wish", "make_plan", "plan_batch", "scaling_target"]

Part = BatchLine.Part


@dataclass(frozen=True, slots=True)
class PlanLine:
    """One thing to weigh or count; `amount` in stock units of the material."""

    part: Part
    material: "Material"
    stage: Stage
    amount: int
    mass_ng: int
    exact_ng: int
    position: int | None = None
    portion: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A recipe at its size, not stored. `scaled` is the soap, `blend` what is only mixed."""

    loaded: LoadedFormula
    wish: Wish
    lines: tuple[PlanLine, ...]
    bars: int
    bar_weight_ng: int
    output_ng: int
    scaled: ScaledBatch | None = None
    safety: SafetyCheck | None = None
    blend: ScaledBlend | None = None
    target: Target = field(default_factory=lambda: BatterTarget(1))

    @property
    def needs(self) -> dict[int, int]:
        """What it asks of the stock: material id -> stock units."""
        needs: dict[int, int] = {}
        for line in self.lines:
            needs[line.material.pk] = needs.get(line.material.pk, 0) + line.amount
        return needs

    @property
    def materials(self) -> dict[int, "Material"]:
        """The materials it needs, by id."""
        return {line.material.pk: line.material for line in self.lines}


def make_plan(loaded: LoadedFormula, wish: Wish) -> Plan:
    """Scale a recipe to what is asked, and check that it is safe. Stores nothing, no queries.

    Raises FormulaRefusal, ScalingRefusal, OutsideTable, and the safety refusals (lye-heavy,
    fragrance over its certified maximum).
    """
    if loaded.soap is None:
        return _plan_blend(loaded, wish)
    target, count = scaling_target(wish)
    version = loaded.version
    scaled = scale(
        loaded.soap,
        target,
        pour_temperature_c=version.pour_temperature_c,
        resolution=version.resolution,
        bars=count,
    )
    safety = recheck(scaled)
    return Plan(
        loaded=loaded,
        wish=wish,
        lines=_soap_lines(loaded, scaled),
        bars=count,
        bar_weight_ng=bar_weight(wish, scaled, count),
        output_ng=scaled.batter_ng,
        scaled=scaled,
        safety=safety,
        target=target,
    )


@transaction.atomic
def plan_batch(
    plan: Plan,
    *,
    planned_on: date,
    code: str = "",
    note: str = "",
    planned_for: Batch | None = None,
    by: "User | None" = None,
) -> Batch:
    """Keep a plan as a batch, freeze its version, and tell the shelf what it needs by then.

    The shelf also hears what a blend will make, and when it is ready. `planned_for` is the batch
    for whose sake it is made.
    """
    version = _frozen(plan.loaded.version.pk)
    batch = Batch.objects.create(
        code=code or next_code("B"),
        version=plan.loaded.version,
        mold=plan.wish.mold,
        planned_on=planned_on,
        target=written_target(plan.target),
        bars_planned=plan.bars,
        batter=plan.output_ng,
        note=note,
        planned_for=planned_for,
        by=by,
        **_figures(plan),
    )
    lines = BatchLine.objects.bulk_create(
        _stored(batch, position, line, plan) for position, line in enumerate(plan.lines)
    )
    require(batch_needs(lines), holder=batch.holder, due_on=planned_on)
    if plan.blend is not None:
        makes = {plan.loaded.version.formula.product_id: plan.output_ng}
        ready_on = days_after(planned_on, version.ready_days)
        expect(makes, holder=batch.holder, due_on=ready_on)
    batch_planned.send(sender=Batch, batch=batch, plan=plan, by=by)
    return batch


def _frozen(pk: int) -> FormulaVersion:
    """The version, frozen from its first batch on."""
    version = FormulaVersion.objects.select_for_update().get(pk=pk)
    if version.frozen_at is None:
        version.frozen_at = timezone.now()
        version.save(update_fields=["frozen_at"])
    return version


def _soap_lines(loaded: LoadedFormula, scaled: ScaledBatch) -> tuple[PlanLine, ...]:
    version = loaded.version
    lines = [
        PlanLine(
            Part.LINE,
            loaded.rows[s.position].material,
            s.line.stage,
            s.stock_amount,
            s.rounded_ng,
            s.exact_ng,
            s.position,
            s.line.portion or "",
        )
        for s in scaled.lines
        if s.stock_amount
    ]
    lye = (
        (Part.MASTERBATCH, version.masterbatch, scaled.masterbatch_ng),
        (Part.NAOH, version.naoh, scaled.naoh_ng),
        (Part.KOH, version.koh, scaled.koh_ng),
        (Part.WATER, version.water, scaled.extra_water_ng),
    )
    weighed = [
        PlanLine(part, material, Stage.LYE, mass, mass, mass)
        for part, material, mass in lye
        if material is not None and mass
    ]
    order = list(Stage)
    return tuple(sorted([*lines, *weighed], key=lambda line: order.index(line.stage)))


def _plan_blend(loaded: LoadedFormula, wish: Wish) -> Plan:
    if not isinstance(wish.target, BatterTarget) or wish.mold is not None:
        raise ScalingRefusal(
            "A blend is scaled to the mass that is wanted of it; give a batter amount.",
            field="target",
        )
    blend = scale_blend(
        loaded.blend,
        wish.target.batter_ng,
        loaded.version.resolution,
        makes=loaded.version.formula.product.alkali,
        loss_share=loaded.version.pot_loss_share,
    )
    lines = tuple(
        PlanLine(
            Part.LINE,
            row.material,
            Stage(row.stage),
            w.rounded_ng,
            w.rounded_ng,
            w.exact_ng,
            row.position,
        )
        for row, w in zip(loaded.rows, blend.weights, strict=True)
        if w.rounded_ng
    )
    return Plan(
        loaded=loaded,
        wish=wish,
        lines=lines,
        bars=0,
        bar_weight_ng=0,
        output_ng=blend.output_ng,
        blend=blend,
        target=wish.target,
    )


def _figures(plan: Plan) -> Mapping[str, int | Decimal]:
    if plan.scaled is None:
        return {}
    return {
        "fats": plan.scaled.fats_ng,
        "superfat": plan.scaled.superfat,
        "superfat_worst": plan.scaled.worst_superfat,
        "lye_concentration": plan.scaled.lye_concentration,
    }


def _stored(batch: Batch, position: int, line: PlanLine, plan: Plan) -> BatchLine:
    row = None if line.position is None else plan.loaded.rows[line.position]
    return BatchLine(
        batch=batch,
        position=position,
        part=line.part,
        formula_line=row,
        material=line.material,
        stage=line.stage.value,
        portion=line.portion,
        planned=line.amount,
    )
