"""Alkalis and carbonates by name, and what one gram of each does in grams of NaOH.

Molar masses in g/mol are computed from the standard atomic weights. A hydroxide takes part by its
moles of OH. A carbonate does not saponify neutral fat: it neutralizes free acids alone,
Na2CO3 + 2 HA -> 2 NaA + H2O + CO2 and NaHCO3 + HA -> NaA + H2O + CO2 (any textbook of chemistry),
and so leaves more of the NaOH to the fats than the acids would have left.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from unicodedata import category

from inventory.domain.catalog.materials import MADE_HERE, MaterialKind

NAOH_G_PER_MOL = Decimal("39.9971")
KOH_G_PER_MOL = Decimal("56.1056")
KOH_PER_NAOH = KOH_G_PER_MOL / NAOH_G_PER_MOL


@dataclass(frozen=True, slots=True)
class Base:
    """A base: its formula, molar mass in g/mol, and the moles of acid that one mole takes."""

    formula: str
    g_per_mol: Decimal
    takes: int

    @property
    def as_naoh(self) -> Decimal:
        """g NaOH that do what one g of it does."""
        return self.takes * NAOH_G_PER_MOL / self.g_per_mol


_NAOH, _KOH = Base("NaOH", NAOH_G_PER_MOL, 1), Base("KOH", KOH_G_PER_MOL, 1)
#: Names of the alkalis in lists of ingredients (INCI, from memory), and as they are sold (common
#: practice, no source). The last two are strong alkalis too, of which no soap is made here.
_ALKALIS = {
    **dict.fromkeys(("sodium hydroxide", "caustic soda", "naoh"), _NAOH),
    **dict.fromkeys(("potassium hydroxide", "caustic potash", "koh"), _KOH),
    "lithium hydroxide": Base("LiOH", Decimal("23.948"), 1),
    "calcium hydroxide": Base("Ca(OH)2", Decimal("74.093"), 2),
}
#: The same of carbonates. A crystal's water is not known from its name: each counts as dry, which
#: errs to more alkali and never to less.
_CARBONATES = {
    **dict.fromkeys(
        ("sodium carbonate", "soda ash", "washing soda", "na2co3"),
        Base("Na2CO3", Decimal("105.9885"), 2),
    ),
    **dict.fromkeys(
        ("sodium bicarbonate", "baking soda", "bicarbonate of soda", "nahco3"),
        Base("NaHCO3", Decimal("84.0066"), 1),
    ),
    "sodium sesquicarbonate": Base("Na3H(CO3)2", Decimal("189.995"), 3),
    **dict.fromkeys(
        ("potassium carbonate", "pearl ash", "k2co3"), Base("K2CO3", Decimal("138.2055"), 2)
    ),
    "potassium bicarbonate": Base("KHCO3", Decimal("100.115"), 1),
}
_BY_FORMULA: Mapping[str, Base] = {base.formula: base for base in _ALKALIS.values()}
#: What is sold by that name is NaOH where nothing says otherwise (common practice, no source).
_LYE = {"lye": _NAOH}
#: Of these a name tells what they are made from or hold ("Lye soap, poured", "Lye bottle").
_NAMED_AFTER = MADE_HERE | {MaterialKind.PACKAGING}
_BETWEEN_NAMES = re.compile(r"[,;/&+()]|\band\b")


def alkali_named(names: str, kind: MaterialKind | None = None) -> str:
    """The alkali among the names of a list of ingredients ("Aqua, Sodium Hydroxide"), or "".

    A name that goes on after an alkali's ("NaOH pellets", "Lye, food grade") is of that alkali,
    except of a `kind` that is named after what it is made from or holds, of which whole names
    count alone. Both together are "NaOH and KOH", which no stored lye is kept as. Letters that are
    not seen (a space of no width) part words as spaces do.
    """
    parts = _parts(names)
    if kind in _NAMED_AFTER:
        found = {_ALKALIS[part].formula for part in parts if part in _ALKALIS}
    else:
        found = _begun(parts, _ALKALIS) or _begun(parts, _LYE)
    return " and ".join(sorted(found, reverse=True))


def _begun(parts: Iterable[str], bases: Mapping[str, Base]) -> set[str]:
    """Formulas of the bases whose name a part is, or begins with as whole words; not "lye free"."""
    return {
        base.formula
        for part in parts
        for name, base in bases.items()
        if f"{part} ".startswith(f"{name} ") and not f"{part} ".startswith(f"{name} free ")
    }


def naoh_of(alkali: str) -> Decimal:
    """g NaOH that do what one g of an alkali of `alkali_named` does; of several, the strongest."""
    return max(_BY_FORMULA[one].as_naoh for one in alkali.split(" and "))


def carbonate_as_naoh(names: str) -> Decimal:
    """g NaOH that take as much acid as one g of the carbonate among these names; 0 without one."""
    found = [_CARBONATES[part].as_naoh for part in _parts(names) if part in _CARBONATES]
    return max(found, default=Decimal(0))


def _parts(names: str) -> list[str]:
    seen = "".join(" " if category(letter) == "Cf" else letter for letter in names.casefold())
    return [" ".join(part.split()) for part in _BETWEEN_NAMES.split(seen)]
