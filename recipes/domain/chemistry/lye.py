"""Alkali arithmetic: what fats and acids take, what that is in NaOH and KOH, and the way back.

Masses may be in any unit as long as it is one unit; the project uses nanograms. Everything is
Decimal, so sums and products are exact and the sign of a superfat is never an artifact of
rounding. Saponification values are mg KOH per g of fat (ISO 3657). Lye burns: whoever shows a
number from here shows `recipes.domain.bench.cautions` beside it.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from types import MappingProxyType

from inventory.domain.catalog.alkalis import KOH_G_PER_MOL, KOH_PER_NAOH, NAOH_G_PER_MOL
from recipes.domain.chemistry.tables import rows
from recipes.errors import FormulaRefusal

#: 50 % is where the handbook tables of lye end and about where NaOH stops dissolving at room
#: temperature.
STRONGEST_LYE = Decimal("0.50")

MG_PER_G = Decimal(1000)
ZERO = Decimal(0)

Mass = Decimal | int


@dataclass(frozen=True, slots=True)
class PureAlkali:
    """Masses of pure NaOH and pure KOH."""

    naoh: Decimal
    koh: Decimal

    @property
    def mass(self) -> Decimal:
        """Both together."""
        return self.naoh + self.koh


@cache
def acid_factors() -> Mapping[str, Decimal]:
    """g NaOH that one g of each listed acid takes: moles of NaOH per mole x M(NaOH) / M(acid)."""
    return MappingProxyType(
        {
            name: int(moles) * NAOH_G_PER_MOL / Decimal(molar_mass)
            for name, molar_mass, moles in rows("acids.csv")[1:]
        }
    )


def koh_demand(fats: Iterable[tuple[Mass, Decimal]]) -> Decimal:
    """Mass of pure KOH that saponifies the fats wholly: sum of mass x saponification value.

    `fats` are (mass, saponification value in mg KOH/g); the answer is in the unit of the masses
    (ISO 3657 defines the value).
    """
    return sum((mass * value for mass, value in fats), ZERO) / MG_PER_G


def pure_alkali(
    *, demand_koh: Decimal, superfat: Decimal, acid_naoh: Decimal, koh_share: Decimal
) -> PureAlkali:
    """Pure alkali for a demand, less the superfat, plus what acids neutralize.

    `demand_koh` as from `koh_demand`; `acid_naoh` is the mass of NaOH that the acids take. Acids
    take their alkali first and whole, so they get no superfat discount. `koh_share` is the molar
    share of the alkali that is KOH.
    """
    as_koh = demand_koh * (1 - superfat) + acid_naoh * KOH_PER_NAOH
    koh = as_koh * koh_share
    return PureAlkali(naoh=(as_koh - koh) * NAOH_G_PER_MOL / KOH_G_PER_MOL, koh=koh)


def resulting_superfat(*, demand_koh: Decimal, acid_naoh: Decimal, alkali: PureAlkali) -> Decimal:
    """Share of the fats' demand that this alkali leaves open; below 0 the soap is lye-heavy.

    The inverse of `pure_alkali`. The sign is exact: both sides are multiplied out to whole molar
    masses before the one division. Raises `FormulaRefusal` when there is no demand.
    """
    if demand_koh <= 0:
        raise FormulaRefusal("There is no fat that takes alkali.", field="lines")
    open_demand = (demand_koh - alkali.koh) * NAOH_G_PER_MOL + (
        acid_naoh - alkali.naoh
    ) * KOH_G_PER_MOL
    return open_demand / (demand_koh * NAOH_G_PER_MOL)


def is_lye_heavy(superfat: Decimal) -> bool:
    """Whether more alkali is in it than its fats and acids take, so that free lye would stay.

    The one place that says so: of a plan, of what was poured, and of the worst that may be.
    """
    return superfat < 0


def lye_mass(*, pure: Decimal, concentration: Decimal) -> Decimal:
    """Mass of the whole lye that holds this much pure alkali at a concentration by mass."""
    return pure / concentration


def concentration(*, pure: Decimal, lye: Mass) -> Decimal:
    """Pure alkali as a share of the whole lye (alkali as weighed + all its water) by mass."""
    return pure / lye
