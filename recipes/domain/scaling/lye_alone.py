"""Lye for given fats and acids, without a formula: for programs that only want the arithmetic.

Lye burns: whoever shows these weights shows `recipes.domain.bench.cautions` beside them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal

from inventory.domain.catalog.materials import RANGES
from recipes.domain.chemistry.formula_check import check_alkali
from recipes.domain.chemistry.lye import is_lye_heavy
from recipes.domain.chemistry.lye_plan import LyePlan, demand_of, plan_lye
from recipes.domain.formulas.formula import Alkali, Notice
from recipes.domain.scales import Scales
from recipes.domain.weighing import LARGEST
from recipes.errors import FormulaRefusal
from studio.foundation.errors import Faults
from studio.foundation.hints import Share
from studio.foundation.units.writing import percent

MICRO = Decimal("0.000001")


@dataclass(frozen=True, slots=True, kw_only=True)
class FatMass:
    """So many ng of a fat; saponification values in mg KOH/g, nominal and the ends of its range."""

    mass_ng: int
    sv: Decimal
    sv_low: Decimal
    sv_high: Decimal


@dataclass(frozen=True, slots=True)
class AcidMass:
    """So many ng of an acid, of which one g takes `naoh_g_per_g` g of NaOH."""

    mass_ng: int
    naoh_g_per_g: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class LyeAlone:
    """The lye, and the superfat that results at the nominal value and at both ends of the ranges.

    Superfats are rounded down to six places.
    """

    plan: LyePlan
    superfat: Share
    superfat_worst: Share
    superfat_best: Share
    notices: tuple[Notice, ...]


def lye_alone(
    fats: Sequence[FatMass], acids: Sequence[AcidMass], alkali: Alkali, *, step_ng: int = 10**9
) -> LyeAlone:
    """Alkali and water for fats and acids, to the scale's step. Raises `FormulaRefusal` with every
    fault (a masterbatch that is too weak, a value that is no saponification value), and what
    `plan_lye` raises.
    """
    faults = Faults()
    _check_masses(fats, acids, step_ng, faults)
    check_alkali(alkali, faults)
    faults.raise_if_any(FormulaRefusal)
    taken = [(acid.mass_ng, acid.naoh_g_per_g) for acid in acids]
    plan = plan_lye(
        alkali,
        demand_of([(fat.mass_ng, fat.sv) for fat in fats], taken),
        scales=Scales(step_ng=step_ng),
    )
    ends = [
        demand_of([(fat.mass_ng, value) for fat, value in zip(fats, values, strict=True)], taken)
        .superfat_with(plan.pure)
        .quantize(MICRO, ROUND_FLOOR)
        for values in ([fat.sv_low for fat in fats], [fat.sv_high for fat in fats])
    ]
    return LyeAlone(
        plan=plan,
        superfat=plan.superfat.quantize(MICRO, ROUND_FLOOR),
        superfat_worst=ends[0],
        superfat_best=ends[1],
        notices=_notices(ends[0]),
    )


def _notices(worst: Decimal) -> tuple[Notice, ...]:
    if not is_lye_heavy(worst):
        return ()
    return (
        Notice(
            "lye-heavy-at-range-end",
            f"At the low end of the saponification ranges this is lye-heavy ({percent(worst)}"
            " superfat). Use the values of the lots' certificates, or more superfat.",
            "superfat",
        ),
    )


def _check_masses(
    fats: Sequence[FatMass], acids: Sequence[AcidMass], step_ng: int, faults: Faults
) -> None:
    plausible, acidity = RANGES["sv_mg_koh_g"], RANGES["acid_naoh_g_per_g"]
    for index, fat in enumerate(fats):
        _check_mass(fat.mass_ng, f"fats.{index}.mass", faults)
        for name in ("sv", "sv_low", "sv_high"):
            if not plausible.holds(getattr(fat, name)):
                faults.add(
                    "saponification-value-implausible",
                    f"{getattr(fat, name)} is no saponification value in mg KOH per g"
                    f" ({plausible.low} to {plausible.high}); was it given in another unit?",
                    f"fats.{index}.{name}",
                )
        if not fat.sv_low <= fat.sv <= fat.sv_high:
            faults.add("range-turned", "The value must lie in its range.", f"fats.{index}.sv")
    for index, acid in enumerate(acids):
        _check_mass(acid.mass_ng, f"acids.{index}.mass", faults)
        if not acidity.holds(acid.naoh_g_per_g):
            told = acidity.told.capitalize()
            faults.add("implausible", f"{told}.", f"acids.{index}.naoh_g_per_g")
    if not fats:
        faults.add("no-fats", "Name at least one fat.", "fats")
    if not 0 < step_ng <= LARGEST:
        faults.add("resolution-outside", "The scale's step must be above 0.", "resolution")


def _check_mass(mass_ng: int, path: str, faults: Faults) -> None:
    if not 0 < mass_ng <= LARGEST:
        faults.add("mass-outside", "A mass must be above 0 and at most 10 t.", path)
