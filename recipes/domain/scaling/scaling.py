"""Give a formula a size: from a target to what is weighed, with the lye that really results.

The target fixes the mass of fats; each line follows by its basis and is rounded to whole pieces or
to the step of its scale; the lye is then set anew on the rounded fats and acids, with alkali
rounded down, so the superfat that is reported is the one that results from the weights on the
sheet.
"""

from collections.abc import Iterator, Mapping
from dataclasses import fields, replace
from decimal import ROUND_FLOOR, Decimal

from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.stock.leaves import NONE, Span
from recipes.domain.chemistry import lye
from recipes.domain.chemistry.formula_check import check_formula
from recipes.domain.chemistry.inside import inside_of
from recipes.domain.chemistry.lye_plan import LyePlan, demand_of, plan_lye, worst_demand
from recipes.domain.formulas.formula import ONE, ZERO, Alkali, Basis, Formula, Line, Notice, Stage
from recipes.domain.formulas.scaled import (
    BarsTarget,
    BatterTarget,
    FatTarget,
    ScaledBatch,
    ScaledLine,
    Target,
    VolumeTarget,
    acid_masses,
    carbonate_masses,
    fat_masses,
)
from recipes.domain.scales import ONE_GRAM, Scales, as_scales
from recipes.domain.scaling.sizing import (
    NG_PER_G,
    NG_PER_NL_AT_ONE,
    GrowsWith,
    Size,
    batter_lye_density,
    counted_water_share,
    density_in_batter,
    rate,
    size_of,
    without_density,
)
from recipes.domain.scaling.weighed import weighed_notices
from recipes.domain.weighing import LARGEST, enough_whole, nearest_whole
from recipes.errors import ScalingRefusal
from studio.foundation.errors import Faults
from studio.foundation.units.writing import percent

#: A step above this share of the alkali moves the superfat by more than half a point.
COARSE_STEP = Decimal("0.01")
#: Shares are told to six places; a superfat is rounded down, so no lye-heavy one shows as 0.
MICRO = Decimal("0.000001")
#: What is weighed of a lye, by the names of its columns.
_LYE = (
    ("NaOH", "naoh_ng"),
    ("KOH", "koh_ng"),
    ("Stored lye", "masterbatch_ng"),
    ("Water", "extra_water_ng"),
)


def scaling_notices(batch: ScaledBatch, scales: Scales) -> tuple[Notice, ...]:
    """Worst case over the saponification ranges, what no scale holds or shows, less than half a
    piece, assumed densities.
    """
    return (
        *_of_lye(batch, scales),
        *_of_lines(batch),
        *weighed_notices(_masses(batch), scales),
        *_of_densities(batch),
    )


def _masses(batch: ScaledBatch) -> Iterator[tuple[str, str, int]]:
    """The name, path and mass of all that is weighed."""
    for scaled in batch.lines:
        if scaled.pieces is None:
            yield scaled.line.ingredient.name, f"lines.{scaled.position}", scaled.rounded_ng
    for name, path in _LYE:
        yield name, path, getattr(batch, path)


def _of_lye(batch: ScaledBatch, scales: Scales) -> Iterator[Notice]:
    if lye.is_lye_heavy(batch.worst_superfat):
        yield Notice(
            "lye-heavy-at-range-end",
            f"Lots at the low end of their saponification range, with alkali as pure as it may be,"
            f" would be lye-heavy ({percent(batch.worst_superfat)} superfat). Use the values of the"
            " lots' certificates, or more superfat.",
            "superfat",
        )
    for name in _alkalis_used(batch):
        if scales.on(getattr(batch, name)).step_ng > getattr(batch, name) * COARSE_STEP:
            yield Notice(
                "coarse-scale",
                f"The scale's step is more than {percent(COARSE_STEP)} of this weight; a finer"
                " scale would hold the superfat better.",
                name,
            )


def _alkalis_used(batch: ScaledBatch) -> Iterator[str]:
    """The alkalis that the formula asks for."""
    alkali = batch.formula.alkali
    if alkali.koh_share < 1:
        yield "naoh_ng" if alkali.masterbatch_strength is None else "masterbatch_ng"
    if alkali.koh_share > 0:
        yield "koh_ng"


def _of_lines(batch: ScaledBatch) -> Iterator[Notice]:
    for scaled in batch.lines:
        name, path = scaled.line.ingredient.name, f"lines.{scaled.position}"
        if scaled.line.basis is Basis.PER_BAR and not batch.bars:
            yield Notice(
                "bars-unknown",
                f"{name} is given per bar, but the number of bars is not known yet.",
                path,
            )
        elif not scaled.stock_amount:
            yield Notice(
                "rounded-to-nothing",
                f"{name} is less than half a piece, and was left out."
                if scaled.pieces is not None
                else f"{name} is less than a nanogram, and was left out.",
                path,
            )


def _of_densities(batch: ScaledBatch) -> Iterator[Notice]:
    missing = without_density(scaled.line for scaled in batch.lines)
    if missing:
        yield Notice(
            "density-assumed",
            "No density is known for "
            + ", ".join(ingredient.name for ingredient in missing)
            + "; the fill was computed with a usual value.",
            "lines",
        )


def scale(
    formula: Formula,
    target: Target,
    *,
    pour_temperature_c: Decimal = Decimal(40),
    resolution: Scales | int = ONE_GRAM,
    bars: int = 0,
) -> ScaledBatch:
    """Solve for the fats that meet the target, round to the scales, and set the lye on that.

    `bars` is for lines given per bar; a `BarsTarget` brings its own. `resolution` is what it is
    weighed on, or a step in ng. Raises `FormulaRefusal` (see `check_formula`), `ScalingRefusal`
    (see also `plan_lye`), `OutsideTable`.
    """
    notices = check_formula(formula)
    scales = as_scales(resolution)
    bars = target.bars if isinstance(target, BarsTarget) else bars
    _check_request(target, scales, bars)
    size = size_of(formula, bars=bars, temperature_c=pour_temperature_c)
    fats = _solve(formula, target, size)
    measures = (fats, ONE, size.batter.at(fats))
    lines = tuple(
        _scaled_line(position, line, measures, bars, scales)
        for position, line in enumerate(formula.lines)
    )
    return _finish(formula, lines, notices, scales, bars=bars, temperature_c=pour_temperature_c)


def set_lye_on_lots(
    batch: ScaledBatch,
    *,
    saponification_values: Mapping[int, Span],
    alkali: Alkali | None = None,
    resolution: Scales | int = ONE_GRAM,
) -> ScaledBatch:
    """The same weights of fats and additives, with the lye set on the lots' own values.

    `saponification_values` goes from the position of a line to the value of what was picked for it
    (mean by mass when several lots were); it replaces the nominal value and the range. `alkali`
    replaces the formula's, for the purities or the strength of the lots. Raises as `scale` does.
    """
    scales = as_scales(resolution)
    valued = [
        _with_value(scaled.line, saponification_values.get(scaled.position))
        for scaled in batch.lines
    ]
    formula = replace(batch.formula, lines=tuple(valued), alkali=alkali or batch.formula.alkali)
    # Checked while the material's range still stands: a typing slip in a certificate shows.
    notices = check_formula(formula)
    known = tuple(
        _with_known_value(line, saponification_values[position])
        if position in saponification_values
        else line
        for position, line in enumerate(valued)
    )
    return _finish(
        replace(formula, lines=known),
        tuple(replace(scaled, line=known[scaled.position]) for scaled in batch.lines),
        notices,
        scales,
        bars=batch.bars,
        temperature_c=batch.pour_temperature_c,
    )


def _with_value(line: Line, demand: Span | None) -> Line:
    if demand is None:
        return line
    return replace(line, ingredient=replace(line.ingredient, sv_mg_koh_g=demand.usual))


def _with_known_value(line: Line, demand: Span) -> Line:
    """What was certified has no range left, and the worst case is just as bad as the lots are."""
    ingredient = line.ingredient
    inside = ingredient.inside and replace(ingredient.inside, demand=demand)
    return replace(
        line,
        ingredient=replace(ingredient, sv_low=demand.low, sv_high=demand.high, inside=inside),
    )


def _finish(
    formula: Formula,
    lines: tuple[ScaledLine, ...],
    notices: tuple[Notice, ...],
    scales: Scales,
    *,
    bars: int,
    temperature_c: Decimal,
) -> ScaledBatch:
    plan = _set_lye(formula, lines, scales)
    batch = _batch(formula, lines, plan, bars=bars, pour_temperature_c=temperature_c)
    return replace(batch, notices=notices + scaling_notices(batch, scales))


def _check_request(target: Target, scales: Scales, bars: int) -> None:
    faults = Faults()
    wanted = {
        field.name: getattr(target, field.name)
        for field in fields(target)
        if field.name != "overfill_share"
    }
    for name, value in wanted.items():
        if not 0 < value <= LARGEST:
            faults.add("target-outside", "The target must be above 0 and below 10 t.", name)
    if isinstance(target, VolumeTarget) and not 0 <= target.overfill_share <= ONE:
        faults.add("overfill-outside", "Overfill must be from 0 % to 100 %.", "overfill_share")
    if scales.step_ng <= 0:
        faults.add("resolution-outside", "The scale's step must be above 0.", "resolution")
    if not 0 <= bars <= LARGEST:
        faults.add("bars-outside", "The number of bars cannot be below 0.", "bars")
    faults.raise_if_any(ScalingRefusal)


def _solve(formula: Formula, target: Target, size: Size) -> Decimal:
    into_mold = 1 - formula.pot_loss_share
    match target:
        case FatTarget(fats_ng):
            fats = Decimal(fats_ng)
        case BatterTarget(batter_ng):
            fats = size.batter.solve(Decimal(batter_ng))
        case VolumeTarget(volume_nl, overfill_share):
            fats = size.volume.solve(volume_nl * (1 + overfill_share) / into_mold)
        case _:
            fats = size.batter.solve(target.bars * target.poured_weight_ng / into_mold)
    if fats <= 0:
        raise ScalingRefusal(
            "The lines with a fixed amount fill the target alone and leave no room for fats.",
            field="target",
        )
    return fats


def _scaled_line(
    position: int,
    line: Line,
    measures: tuple[Decimal, Decimal, Decimal],
    bars: int,
    scales: Scales,
) -> ScaledLine:
    place, amount = rate(line, bars=bars)
    exact = amount * measures[place]
    if line.ingredient.counted:
        pieces = _pieces(line, measures[GrowsWith.FATS], bars)
        mass = pieces * (line.ingredient.piece_mass_ng or 0)
        return ScaledLine(position, line, nearest_whole(exact), mass, pieces)
    return ScaledLine(position, line, nearest_whole(exact), scales.nearest(exact))


def _pieces(line: Line, fats: Decimal, bars: int) -> int:
    """Whole pieces: nearest of what goes into the soap, never too few of what wraps it."""
    match line.basis:
        case Basis.PIECE_PER_FATS:
            return nearest_whole(fats / (line.amount * NG_PER_G))
        case Basis.PER_BAR:
            return enough_whole(line.amount * bars)
        case _:
            return nearest_whole(line.amount)


def _set_lye(formula: Formula, lines: tuple[ScaledLine, ...], scales: Scales) -> LyePlan:
    fats = fat_masses(lines)
    if not sum(mass for mass, _ in fats):
        raise ScalingRefusal("There is less than a nanogram of fats.", field="target")
    counted, dissolving = ZERO, ZERO
    for scaled in lines:
        counted += scaled.rounded_ng * counted_water_share(scaled.line)
        if scaled.line.stage is Stage.LYE:
            dissolving += scaled.rounded_ng * scaled.line.ingredient.water_share
    return plan_lye(
        formula.alkali,
        demand_of(fats, acid_masses(lines), carbonate_masses(lines)),
        scales=scales,
        counted_water_ng=int(counted),
        dissolving_water_ng=int(dissolving),
    )


def _batch(
    formula: Formula,
    lines: tuple[ScaledLine, ...],
    plan: LyePlan,
    *,
    bars: int,
    pour_temperature_c: Decimal,
) -> ScaledBatch:
    inside = [scaled for scaled in lines if scaled.in_batter]
    fats_ng = sum(mass for mass, _ in fat_masses(lines))
    batter_ng = (
        sum(scaled.rounded_ng for scaled in inside) + plan.weights.total_ng + plan.extra_water_ng
    )
    volume_nl = nearest_whole(_volume(formula, inside, plan, pour_temperature_c))
    return ScaledBatch(
        formula=formula,
        lines=lines,
        bars=bars,
        pour_temperature_c=pour_temperature_c,
        fats_ng=fats_ng,
        naoh_ng=plan.weights.naoh_ng,
        koh_ng=plan.weights.koh_ng,
        masterbatch_ng=plan.weights.masterbatch_ng,
        extra_water_ng=plan.extra_water_ng,
        counted_water_ng=plan.counted_water_ng,
        water_ng=plan.water_ng,
        batter_ng=batter_ng,
        batter_volume_nl=volume_nl,
        density_g_ml=(Decimal(batter_ng) / volume_nl / NG_PER_NL_AT_ONE).quantize(MICRO),
        finished_ng=nearest_whole(batter_ng * (1 - formula.cure_loss_share)),
        superfat=plan.superfat.quantize(MICRO, ROUND_FLOOR),
        worst_superfat=_worst_superfat(formula, lines, plan).quantize(MICRO, ROUND_FLOOR),
        extra_superfat=(sum((_extra_fat(s) for s in inside), ZERO) / fats_ng).quantize(MICRO),
        lye_concentration=plan.concentration.quantize(MICRO),
    )


def _volume(
    formula: Formula, inside: list[ScaledLine], plan: LyePlan, temperature_c: Decimal
) -> Decimal:
    volume = plan.total_ng / batter_lye_density(formula.alkali, temperature_c=temperature_c)
    for scaled in inside:
        rest = scaled.rounded_ng * (1 - counted_water_share(scaled.line))
        volume += rest / density_in_batter(scaled.line, temperature_c=temperature_c)
    return volume / NG_PER_NL_AT_ONE


def _worst_superfat(formula: Formula, lines: tuple[ScaledLine, ...], plan: LyePlan) -> Decimal:
    """Superfat of the worst demand with the alkali as pure as it may be."""
    fats = [
        (s.rounded_ng, (inside_of(s.line.ingredient).demand or NONE).low)
        for s in lines
        if s.line.basis is Basis.SHARE_OF_FATS
    ]
    demand = worst_demand(fats, acid_masses(lines), carbonate_masses(lines))
    return demand.superfat_with(plan.weights.pure(formula.alkali.at_worst))


def _extra_fat(scaled: ScaledLine) -> Decimal:
    ingredient = scaled.line.ingredient
    if scaled.line.basis is Basis.SHARE_OF_FATS:
        return ZERO
    if ingredient.kind is MaterialKind.FAT:
        return Decimal(scaled.rounded_ng)
    return scaled.rounded_ng * ingredient.fat_share
