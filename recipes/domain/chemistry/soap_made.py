"""What lye makes of fats and acids, by mass and by name: salts, glycerin, water, fat that is left.

Alkali neutralizes acids first and wholly; the rest saponifies every fat to the same share. A fat is
taken for triglycerides: 3 mol alkali give 3 mol salt and 1 mol glycerol (any textbook of fats);
free fatty acids and acids give water instead. Sodium and potassium go to each in their molar
proportion. Masses in ng; what goes in comes out, to the nanogram of rounding each part.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from functools import cache

from inventory.domain.catalog.alkalis import KOH_G_PER_MOL, NAOH_G_PER_MOL
from recipes.domain.chemistry import lye
from recipes.domain.chemistry.lye import ZERO, PureAlkali
from recipes.domain.chemistry.tables import rows
from recipes.errors import FormulaRefusal, LyeHeavy
from studio.foundation.units.writing import percent

#: g/mol from the standard atomic weights.
GLYCEROL_G_PER_MOL, WATER_G_PER_MOL = Decimal("92.0940"), Decimal("18.0153")


class Gives(StrEnum):
    """What comes off when alkali reacts with a fat or an acid."""

    GLYCEROL = "glycerol"
    WATER = "water"
    NOTHING = "nothing"


@dataclass(frozen=True, slots=True)
class SoapNames:
    """Names of the sodium and the potassium salt; `known` says whether they are published ones."""

    sodium: str
    potassium: str
    gives: Gives = Gives.GLYCEROL
    known: bool = True


def soap_names(inci_name: str, *, gives: Gives = Gives.GLYCEROL) -> SoapNames:
    """The names for an ingredient; where no list has any, "Saponified ..." (common US practice).

    A plain name in brackets, as in "Cocos Nucifera (Coconut) Oil", is not looked at. `gives` is
    taken for an unknown one.
    """
    found = _by_name().get(_plain(inci_name))
    if found is not None:
        return found
    made = f"Saponified {inci_name}" if gives is Gives.GLYCEROL else f"Neutralized {inci_name}"
    return SoapNames(made, f"{made} (Potassium)", gives, known=False)


@cache
def _by_name() -> Mapping[str, SoapNames]:
    return {
        _plain(name): SoapNames(sodium, potassium, Gives(gives))
        for name, sodium, potassium, gives, _ in rows("soap_names.csv")[1:]
    }


def _plain(name: str) -> str:
    before, _, rest = name.partition("(")
    return " ".join(f"{before} {rest.partition(')')[2]}".casefold().split())


_COMES_OFF = {
    Gives.GLYCEROL: GLYCEROL_G_PER_MOL / 3,
    Gives.WATER: WATER_G_PER_MOL,
    Gives.NOTHING: ZERO,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ReactingFat:
    """A fat that the lye is set on: its name, mass and saponification value in mg KOH/g."""

    name: str
    mass_ng: int
    sv_mg_koh_g: Decimal
    names: SoapNames


@dataclass(frozen=True, slots=True, kw_only=True)
class ReactingAcid:
    """An acid without its water; `naoh_ng` of pure NaOH neutralize it."""

    name: str
    mass_ng: Decimal
    naoh_ng: Decimal
    names: SoapNames


@dataclass(frozen=True, slots=True, kw_only=True)
class SoapMade:
    """Masses in ng: salts by name, fats left by name, glycerin, and water that was formed."""

    salts: dict[str, Decimal]
    fats: dict[str, Decimal]
    glycerin: Decimal
    water: Decimal
    superfat: Decimal

    @property
    def total(self) -> Decimal:
        """All of it."""
        parts = (*self.salts.values(), *self.fats.values())
        return sum(parts, self.glycerin + self.water)


def soap_made(
    fats: Sequence[ReactingFat],
    acids: Sequence[ReactingAcid],
    pure: PureAlkali,
    *,
    found_safe: bool = False,
) -> SoapMade:
    """What results when all alkali has reacted.

    `found_safe`: the soap itself was found to hold no free lye whatever the figures say, so all fat
    has reacted, and what the figures have of alkali beyond that is in nothing that results.
    Otherwise raises LyeHeavy when there is more alkali than fats and acids take. Raises
    FormulaRefusal when there is no fat, or when the acids alone take more than all of the alkali.
    """
    demand = lye.koh_demand((fat.mass_ng, fat.sv_mg_koh_g) for fat in fats)
    acid_naoh = sum((acid.naoh_ng for acid in acids), ZERO)
    superfat = lye.resulting_superfat(demand_koh=demand, acid_naoh=acid_naoh, alkali=pure)
    if lye.is_lye_heavy(superfat) and not found_safe:
        raise LyeHeavy(f"The superfat is {percent(superfat)}: this must not be sold.")
    if superfat > 1:
        raise FormulaRefusal("The acids take more than all of the alkali.")
    return _react(fats, acids, pure, superfat)


def _react(
    fats: Sequence[ReactingFat],
    acids: Sequence[ReactingAcid],
    pure: PureAlkali,
    superfat: Decimal,
) -> SoapMade:
    sodium, potassium = pure.naoh / NAOH_G_PER_MOL, pure.koh / KOH_G_PER_MOL
    moles = sodium + potassium
    koh_share = potassium / moles if moles else ZERO
    open_share = max(superfat, ZERO)
    salts: dict[str, Decimal] = defaultdict(Decimal)
    left: dict[str, Decimal] = defaultdict(Decimal)
    off = dict.fromkeys(Gives, ZERO)
    reacting = [
        (fat.names, fat.mass_ng * (1 - open_share), _moles(fat) * (1 - open_share)) for fat in fats
    ]
    reacting += [(acid.names, acid.mass_ng, acid.naoh_ng / NAOH_G_PER_MOL) for acid in acids]
    for names, mass, taken in reacting:
        lost = taken * _COMES_OFF[names.gives]
        off[names.gives] += lost
        for name, share, molar in (
            (names.sodium, 1 - koh_share, NAOH_G_PER_MOL),
            (names.potassium, koh_share, KOH_G_PER_MOL),
        ):
            if share:
                salts[name] += share * (mass - lost + taken * molar)
    for fat in fats:
        left[fat.name] += fat.mass_ng * open_share
    return SoapMade(
        salts=dict(salts),
        fats=dict(left),
        glycerin=off[Gives.GLYCEROL],
        water=off[Gives.WATER],
        superfat=superfat,
    )


def _moles(fat: ReactingFat) -> Decimal:
    """Alkali that saponifies the whole fat, in ng over g/mol."""
    return fat.mass_ng * fat.sv_mg_koh_g / lye.MG_PER_G / KOH_G_PER_MOL
