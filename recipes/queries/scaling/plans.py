"""From a recipe and a target to a plan: amounts, safety, and what it asks of the shelf.

Stores nothing and asks nothing: the scale page, the shelf check and the cost of a plan all start
from it.
"""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from recipes.domain.chemistry.blends import ScaledBlend, scale_blend
from recipes.domain.chemistry.safety import SafetyCheck, recheck
from recipes.domain.formulas.formula import Stage
from recipes.domain.formulas.scaled import BatterTarget, ScaledBatch, Target
from recipes.domain.scaling.scaling import scale
from recipes.errors import ScalingRefusal
from recipes.models.bench.batches import BatchLine
from recipes.queries.formulas.formulas import LoadedFormula
from recipes.queries.scaling.sizes import Wish, bar_weight, scaling_target

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material

__all__ = ["Plan", "PlanLine", "Wish", "make_plan"]

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
