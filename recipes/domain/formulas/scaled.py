"""What a batch is scaled to, and the batch at its size, as `recipes.domain.scaling` makes it."""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from recipes.domain.formulas.formula import BATTER_STAGES, ZERO, Basis, Formula, Line, Notice
from studio.foundation.hints import Share


@dataclass(frozen=True, slots=True)
class FatTarget:
    """So many nanograms of fats."""

    fats_ng: int


@dataclass(frozen=True, slots=True)
class BatterTarget:
    """So many nanograms of batter in the pot, before any pot loss."""

    batter_ng: int


@dataclass(frozen=True, slots=True)
class VolumeTarget:
    """Fill `volume_nl` (nL) of molds and make `overfill_share` more than that."""

    volume_nl: int
    overfill_share: Decimal = Decimal(0)


@dataclass(frozen=True, slots=True)
class BarsTarget:
    """So many bars, each poured at `poured_weight_ng`."""

    bars: int
    poured_weight_ng: int


Target = FatTarget | BatterTarget | VolumeTarget | BarsTarget


@dataclass(frozen=True, slots=True)
class ScaledLine:
    """One line at its size.

    `exact_ng` is the mass before rounding, `rounded_ng` the mass to weigh (of whole pieces: pieces
    x piece mass, 0 when a piece has no known mass), `pieces` is None for weighed materials.
    """

    position: int
    line: Line
    exact_ng: int
    rounded_ng: int
    pieces: int | None = None

    @property
    def in_batter(self) -> bool:
        """Whether it is part of what is poured (toppings and packaging are not)."""
        return self.line.stage in BATTER_STAGES

    @property
    def stock_amount(self) -> int:
        """What the stock is asked for: pieces of a counted material, nanograms of any other."""
        return self.rounded_ng if self.pieces is None else self.pieces


@dataclass(frozen=True, slots=True)
class ScaledBatch:
    """A formula at its size. Masses in ng, volume in nL, shares of 1.

    `naoh_ng` and `koh_ng` are dry alkali as weighed (purity included); `masterbatch_ng` replaces
    `naoh_ng` where the formula uses one. `extra_water_ng` is the plain water to weigh;
    `water_ng` is all water of the lye: plain, from the masterbatch, and from liquids that count
    (`counted_water_ng`). `superfat` is what results from the rounded weights and the nominal
    saponification values, `worst_superfat` the same with each fat at its low end, and
    `extra_superfat` is the fat that other lines bring, as a share of the fats.
    """

    formula: Formula
    lines: tuple[ScaledLine, ...]
    bars: int
    pour_temperature_c: Decimal
    fats_ng: int
    naoh_ng: int
    koh_ng: int
    masterbatch_ng: int
    extra_water_ng: int
    counted_water_ng: int
    water_ng: int
    batter_ng: int
    batter_volume_nl: int
    density_g_ml: Decimal
    finished_ng: int
    superfat: Share
    worst_superfat: Share
    extra_superfat: Share
    lye_concentration: Share
    notices: tuple[Notice, ...] = ()


def fat_masses(lines: Iterable[ScaledLine]) -> list[tuple[int, Decimal]]:
    """(mass in ng, nominal saponification value) of the fats that the lye is set on."""
    return [
        (scaled.rounded_ng, scaled.line.ingredient.sv_mg_koh_g or ZERO)
        for scaled in lines
        if scaled.line.basis is Basis.SHARE_OF_FATS
    ]


def acid_masses(lines: Iterable[ScaledLine]) -> list[tuple[int, Decimal]]:
    """(mass in ng, g NaOH per g) of what takes alkali in the batter besides the fats."""
    return [
        (scaled.rounded_ng, scaled.line.ingredient.acid_naoh_g_per_g)
        for scaled in lines
        if scaled.line.ingredient.acid_naoh_g_per_g and scaled.in_batter
    ]


def carbonate_masses(lines: Iterable[ScaledLine]) -> list[tuple[int, Decimal]]:
    """(mass in ng, g NaOH per g) of what takes acid in the batter, and no neutral fat."""
    return [
        (scaled.rounded_ng, scaled.line.ingredient.carbonate_naoh_g_per_g)
        for scaled in lines
        if scaled.line.ingredient.carbonate_naoh_g_per_g and scaled.in_batter
    ]


def written_target(target: Target) -> dict[str, str | int]:
    """A target as JSON, so that the plan can be read and made again."""
    match target:
        case VolumeTarget(volume, overfill):
            return {"kind": "volume", "volume_nl": volume, "overfill_share": str(overfill)}
        case BarsTarget(count, weight):
            return {"kind": "bars", "bars": count, "poured_weight_ng": weight}
        case BatterTarget(batter):
            return {"kind": "batter", "batter_ng": batter}
        case _:
            return {"kind": "fats", "fats_ng": target.fats_ng}
