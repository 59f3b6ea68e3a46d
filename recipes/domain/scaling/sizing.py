"""How batter and volume grow with the fats: the straight lines that scaling solves.

The mass of each line grows with the fats, with the batter, or not at all, so batter and volume are
straight-line functions of the mass of fats. Pieces are taken as parts of a piece here; rounding
comes after. Masses in ng, volumes in nL.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from enum import IntEnum

from inventory.domain.catalog.alkalis import KOH_PER_NAOH
from inventory.domain.catalog.materials import MaterialKind
from recipes.domain.chemistry import lye
from recipes.domain.chemistry.densities import fat_density_g_ml, lye_density_g_ml
from recipes.domain.formulas.formula import (
    BATTER_STAGES,
    ONE,
    ZERO,
    Alkali,
    Basis,
    Formula,
    Ingredient,
    Line,
)

NG_PER_G = 10**9
#: ng over g/mL gives nL after this division.
NG_PER_NL_AT_ONE = 1000

#: US teaspoon and pound, exact (NIST Handbook 44, appendix C).
TSP_ML, LB_G = Decimal("4.92892159375"), Decimal("453.59237")

#: Taken where a material has no density; common practice, no source. They size the fill only.
ASSUMED_FAT_DENSITY = Decimal("0.90")
ASSUMED_DENSITY = Decimal("1.00")


class GrowsWith(IntEnum):
    """What a line's mass is proportional to; the value is its place in the sums."""

    FATS = 0
    NOTHING = 1
    BATTER = 2


@dataclass(frozen=True, slots=True)
class StraightLine:
    """`per_fat` x fats + `fixed`."""

    per_fat: Decimal
    fixed: Decimal

    def at(self, fats: Decimal) -> Decimal:
        """Its value for so many ng of fats."""
        return self.per_fat * fats + self.fixed

    def solve(self, value: Decimal) -> Decimal:
        """The ng of fats that give this value."""
        return (value - self.fixed) / self.per_fat


@dataclass(frozen=True, slots=True)
class Size:
    """Batter in ng and its volume in nL as functions of the ng of fats."""

    batter: StraightLine
    volume: StraightLine


def rate(line: Line, *, bars: int) -> tuple[GrowsWith, Decimal]:
    """What a line grows with, and by how much: ng per ng, or ng in all."""
    amount, piece = line.amount, line.ingredient.piece_mass_ng or 0
    match line.basis:
        case Basis.SHARE_OF_FATS | Basis.OF_FATS | Basis.G_PER_KG_FATS:
            per_kg = line.basis is Basis.G_PER_KG_FATS
            return GrowsWith.FATS, amount / 1000 if per_kg else amount
        case Basis.PIECE_PER_FATS:
            return GrowsWith.FATS, piece / (amount * NG_PER_G)
        case Basis.OF_BATTER:
            return GrowsWith.BATTER, amount
        case Basis.FIXED:
            return GrowsWith.NOTHING, amount * (piece if line.ingredient.counted else NG_PER_G)
        case Basis.PER_BAR:
            unit = piece if line.ingredient.counted else NG_PER_G
            return GrowsWith.NOTHING, amount * unit * bars
        case _:
            return _portion_rate(line)


def _portion_rate(line: Line) -> tuple[GrowsWith, Decimal]:
    if line.basis is Basis.OF_PORTION:
        return GrowsWith.BATTER, line.amount * line.portion_share
    spoon_g = TSP_ML * (line.ingredient.density_g_ml or ASSUMED_DENSITY)
    return GrowsWith.FATS, line.amount * spoon_g / LB_G * line.portion_share


def counted_water_share(line: Line) -> Decimal:
    """Share of a line's mass that is part of the lye's water."""
    return line.ingredient.water_share if line.counts_as_water else ZERO


def density_in_batter(line: Line, *, temperature_c: Decimal) -> Decimal:
    """g/mL of a line's material in the batter: fats at the pour temperature, others as given."""
    ingredient = line.ingredient
    density = ingredient.density_g_ml
    if density is None:
        return ASSUMED_FAT_DENSITY if _is_fat(line) else ASSUMED_DENSITY
    if _is_fat(line) and ingredient.density_temperature_c is not None:
        return fat_density_g_ml(
            density_g_ml=density,
            measured_at_c=ingredient.density_temperature_c,
            temperature_c=temperature_c,
        )
    return density


def batter_lye_density(alkali: Alkali, *, temperature_c: Decimal) -> Decimal:
    """g/mL of the lye at its target concentration. Raises `OutsideTable`."""
    pure = _per_koh(alkali)
    naoh_share = alkali.lye_concentration * pure.naoh / pure.mass
    return lye_density_g_ml(
        naoh_share=naoh_share,
        koh_share=alkali.lye_concentration - naoh_share,
        temperature_c=temperature_c,
    )


def without_density(lines: Iterable[Line]) -> list[Ingredient]:
    """Materials in the batter whose density had to be assumed."""
    return [
        line.ingredient
        for line in lines
        if line.stage in BATTER_STAGES and line.ingredient.density_g_ml is None
    ]


def size_of(formula: Formula, *, bars: int, temperature_c: Decimal) -> Size:
    """Batter and volume of a formula as functions of its fats. Raises `OutsideTable`.

    Water that counts belongs to the lye and takes its volume there. Alkali = (1 - superfat) x the
    fats' demand + what acids take; lye = pure alkali / concentration (see
    `recipes.domain.chemistry.lye`).
    """
    alkali = formula.alkali
    density = batter_lye_density(alkali, temperature_c=temperature_c)
    mass, volume, koh = [ZERO] * 3, [ZERO] * 3, [ZERO] * 3
    for line in formula.lines:
        if line.stage not in BATTER_STAGES:
            continue
        place, amount = rate(line, bars=bars)
        rest = amount * (1 - counted_water_share(line))
        mass[place] += rest
        volume[place] += rest / density_in_batter(line, temperature_c=temperature_c)
        if line.basis is Basis.SHARE_OF_FATS:
            value = line.ingredient.sv_mg_koh_g or ZERO
            koh[place] += amount * value / lye.MG_PER_G * (1 - alkali.superfat)
        if factor := line.ingredient.acid_naoh_g_per_g:
            koh[place] += amount * factor * KOH_PER_NAOH
    per_koh = _per_koh(alkali).mass / alkali.lye_concentration
    for place in GrowsWith:
        mass[place] += koh[place] * per_koh
        volume[place] += koh[place] * per_koh / density
    return _solve_for_batter(mass, volume)


def _solve_for_batter(mass: list[Decimal], volume: list[Decimal]) -> Size:
    """Batter = per_fat x fats + fixed + of_batter x batter, solved for the batter."""
    left = 1 - mass[GrowsWith.BATTER]
    batter = StraightLine(mass[GrowsWith.FATS] / left, mass[GrowsWith.NOTHING] / left)
    of_batter = volume[GrowsWith.BATTER]
    return Size(
        batter=batter,
        volume=StraightLine(
            (volume[GrowsWith.FATS] + of_batter * batter.per_fat) / NG_PER_NL_AT_ONE,
            (volume[GrowsWith.NOTHING] + of_batter * batter.fixed) / NG_PER_NL_AT_ONE,
        ),
    )


def _per_koh(alkali: Alkali) -> lye.PureAlkali:
    """Pure alkali that does the work of one unit mass of KOH."""
    return lye.pure_alkali(
        demand_koh=ONE, superfat=ZERO, acid_naoh=ZERO, koh_share=alkali.koh_share
    )


def _is_fat(line: Line) -> bool:
    return line.basis is Basis.SHARE_OF_FATS or line.ingredient.kind is MaterialKind.FAT
