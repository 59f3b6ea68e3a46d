"""The fats of a recipe by their published quantities, whole or while it is being written."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from recipes.domain.chemistry.fatty_acids import BlendRanges, FatsProfile, blend_ranges, profile_of
from recipes.domain.formulas.formula import ONE, ZERO, Basis, Ingredient
from recipes.models.formulas.formulas import FormulaLine
from recipes.queries.formulas.formulas import ingredient_of

_MILLION = 10**6


@dataclass(frozen=True, slots=True)
class FatsSummary:
    """Sum of the shares, what is missing to 1 (below 0: too much), and the blend's quantities.

    `saponification_value` in mg KOH per g (ISO 3657), None unless each fat has one.
    """

    total: Decimal
    fats: tuple[tuple[Ingredient, Decimal], ...]
    saponification_value: Decimal | None
    profile: FatsProfile
    ranges: BlendRanges

    @property
    def missing(self) -> Decimal:
        """What the shares lack to the whole."""
        return ONE - self.total

    @property
    def without_range(self) -> list[str]:
        """The names of the fats of which no published range is kept."""
        names = {fat.code: fat.name for fat, _ in self.fats}
        return [names[code] for code in self.ranges.without]


def summary_of(rows: Sequence[FormulaLine]) -> FatsSummary:
    """The summary of a version's lines; their materials have their fatty acids read. No query."""
    fats = tuple(
        (ingredient_of(row.material, with_fatty_acids=True), row.amount)
        for row in rows
        if row.basis == Basis.SHARE_OF_FATS.value and row.amount > 0
    )
    total = sum((share for _, share in fats), ZERO)
    taken: dict[str, Decimal] = {}
    for fat, share in fats:
        taken[fat.code] = taken.get(fat.code, ZERO) + share
    return FatsSummary(
        total=total,
        fats=fats,
        saponification_value=_saponification_value(fats, total),
        profile=profile_of((fat, int(share * _MILLION)) for fat, share in fats),
        ranges=blend_ranges(taken),
    )


def _saponification_value(
    fats: Sequence[tuple[Ingredient, Decimal]], total: Decimal
) -> Decimal | None:
    if not total or any(fat.sv_mg_koh_g is None for fat, _ in fats):
        return None
    return sum((share * (fat.sv_mg_koh_g or ZERO) for fat, share in fats), ZERO) / total
