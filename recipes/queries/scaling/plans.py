"""From a recipe and a target to a plan: amounts, safety, and what it asks of the shelf.

Stores nothing and asks nothing: the scale page, the shelf check and the cost of a plan all start
from it.
"""

from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import TYPE_CHECKING

from recipes.domain.chemistry.blends import ScaledBlend, scale_blend
from recipes.domain.chemistry.lye_plan import refuse_less_than_shown
from recipes.domain.chemistry.safety import SafetyCheck, recheck
from recipes.domain.formulas.formula import Notice, Stage
from recipes.domain.formulas.scaled import (
    BarsTarget,
    BatterTarget,
    ScaledBatch,
    Target,
    VolumeTarget,
)
from recipes.domain.molds.molds import MoldCut, bar_poured_weight_ng, bars, fill_volume_nl
from recipes.domain.scales import OnScale, Scales
from recipes.domain.scaling.scaling import scale
from recipes.domain.scaling.weighed import weighed_notices
from recipes.errors import ScalingRefusal
from recipes.models.bench.batches import BatchLine
from recipes.models.molds.molds import Mold
from recipes.queries.formulas.formulas import LoadedFormula
from recipes.queries.formulas.slots import refuse_other_alkali
from recipes.queries.molds.molds import cut_of
from studio.foundation.errors import InvalidInput

if TYPE_CHECKING:
    from inventory.models.catalog.materials import Material

Part = BatchLine.Part


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What is asked for: a target, or a mold to fill; `bars` where the mold does not say how it is
    cut.

    `fill_height_nm` goes before the mold's own.
    """

    target: Target | None = None
    mold: Mold | None = None
    fill_height_nm: int | None = None
    bars: int = 0


def scaling_target(wish: Wish) -> tuple[Target, int]:
    """The target and the number of bars: from the mold where one is filled or cut.

    Raises ScalingRefusal for a wish without a target, or for other bars than the mold to fill
    gives; InvalidInput for a mold that cannot be.
    """
    if wish.mold is None:
        if wish.target is None:
            raise ScalingRefusal("Say what to scale to: a mold, fats, batter or bars.")
        if isinstance(wish.target, BarsTarget):
            return wish.target, wish.target.bars
        return wish.target, wish.bars
    cut = _cut(wish, wish.mold)
    count = wish.bars or bars(cut)
    if wish.target is not None:
        is_count = isinstance(wish.target, BarsTarget)
        return wish.target, wish.target.bars if is_count else count  # type: ignore[union-attr]
    _check_count(wish, wish.mold, gives=bars(cut))
    volume = fill_volume_nl(cut.mold, cut.fill_height_nm)
    return VolumeTarget(volume, wish.mold.overfill_share), count


def _check_count(wish: Wish, mold: Mold, *, gives: int) -> None:
    """Refuse bars that contradict the cut of the mold; one that is one piece says nothing of it."""
    if wish.bars and gives > 1 and wish.bars != gives:
        named = mold.name or "The mold"
        raise ScalingRefusal(
            f"{named} gives {gives} bars, not {wish.bars}: leave the bars out, or change how the"
            " mold is cut.",
            field="bars",
            details={"gives": gives},
        )


def _cut(wish: Wish, mold: Mold) -> MoldCut:
    """The mold as it will be filled and cut, with the fill height that was asked for."""
    cut = cut_of(mold)
    if wish.fill_height_nm is None:
        return cut
    try:
        return replace(cut, fill_height_nm=wish.fill_height_nm)
    except InvalidInput as refusal:
        faults = (replace(fault, field="fill_height") for fault in refusal.faults)
        raise ScalingRefusal(faults=faults) from refusal


def bar_weight(wish: Wish, scaled: ScaledBatch, count: int) -> int:
    """ng that one bar weighs as poured: by the mold's cut, else the batter in the mold by bars."""
    in_mold = round(scaled.batter_ng * (1 - scaled.formula.pot_loss_share))
    if isinstance(wish.target, BarsTarget):
        return wish.target.poured_weight_ng
    if wish.mold is not None and not wish.bars:
        return bar_poured_weight_ng(_cut(wish, wish.mold), batter_ng=in_mold)
    return in_mold // count if count else 0


@dataclass(frozen=True, slots=True)
class PlanLine:
    """One thing to weigh or count; `amount` in stock units of the material. `weighed` says on which
    scale; None for what is counted.
    """

    part: Part
    material: "Material"
    stage: Stage
    amount: int
    mass_ng: int
    exact_ng: int
    position: int | None = None
    portion: str = ""
    weighed: OnScale | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A recipe at its size, not stored. `scaled` is the soap, `blend` what is only mixed; `notices`
    is what is told of both.
    """

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
    notices: tuple[Notice, ...] = ()

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
    fragrance over its certified maximum). FormulaRefusal also when what the version names as its
    NaOH or KOH is kept as another alkali by now.
    """
    if loaded.soap is None:
        return _plan_blend(loaded, wish)
    target, count = scaling_target(wish)
    version = loaded.version
    refuse_other_alkali(version, loaded.contents)
    scaled = scale(
        loaded.soap,
        target,
        pour_temperature_c=version.pour_temperature_c,
        resolution=loaded.scales,
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
        notices=(*scaled.notices, *safety.notices),
    )


def _soap_lines(loaded: LoadedFormula, scaled: ScaledBatch) -> tuple[PlanLine, ...]:
    version, scales = loaded.version, loaded.scales
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
            scales.on(s.rounded_ng) if s.pieces is None else None,
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
        PlanLine(part, material, Stage.LYE, mass, mass, mass, weighed=scales.on(mass))
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
        loaded.scales,
        makes=loaded.version.formula.product.alkali,
        loss_share=loaded.version.pot_loss_share,
    )
    return Plan(
        loaded=loaded,
        wish=wish,
        lines=_blend_lines(loaded, blend),
        bars=0,
        bar_weight_ng=0,
        output_ng=blend.output_ng,
        blend=blend,
        target=wish.target,
        notices=_told_of(blend, loaded.scales),
    )


def _blend_lines(loaded: LoadedFormula, blend: ScaledBlend) -> tuple[PlanLine, ...]:
    """The lines of a blend. Raises ScalingRefusal for alkali that no scale would show."""
    alkali = [w for w in blend.weights if w.line.ingredient.holds_alkali]
    exact = {w.line.ingredient.name: Decimal(w.exact_ng) for w in alkali}
    refuse_less_than_shown(exact, loaded.scales)
    return tuple(
        PlanLine(
            Part.LINE,
            row.material,
            Stage(row.stage),
            w.rounded_ng,
            w.rounded_ng,
            w.exact_ng,
            row.position,
            weighed=loaded.scales.on(w.rounded_ng),
        )
        for row, w in zip(loaded.rows, blend.weights, strict=True)
        if w.rounded_ng
    )


def _told_of(blend: ScaledBlend, scales: Scales) -> tuple[Notice, ...]:
    masses = [
        (weight.line.ingredient.name, f"lines.{place}", weight.rounded_ng)
        for place, weight in enumerate(blend.weights)
    ]
    return tuple(weighed_notices(masses, scales))
