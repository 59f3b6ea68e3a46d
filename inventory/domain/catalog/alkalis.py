"""Alkalis and carbonates by name, and what one gram of each does in grams of NaOH.

Molar masses in g/mol are computed from the standard atomic weights. A hydroxide takes part by its
moles of OH. A carbonate does not saponify neutral fat: it neutralizes free acids alone,
Na2CO3 + 2 HA -> 2 NaA + H2O + CO2 and NaHCO3 + HA -> NaA + H2O + CO2 (any textbook of chemistry),
and so leaves more of the NaOH to the fats than the acids would have left.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from typing import Any
from unicodedata import category, normalize

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
#: Names of the alkalis in lists of ingredients (INCI, from memory), as they are sold, also in other
#: languages (common practice, no source), their CAS registry numbers and the E numbers of food
#: additives (both from memory). Lye of wood ash is of potassium. The last two are strong alkalis
#: too, of which no soap is made here.
_ALKALIS = {
    **dict.fromkeys(
        (
            *("sodium hydroxide", "sodium hydrate", "caustic soda", "soda lye", "naoh"),
            *("natriumhydroxid", "natronlauge", "atznatron", "aetznatron", "hydroxyde de sodium"),
            *("soude caustique", "hidroxido de sodio", "sosa caustica", "soda caustica"),
            *("idrossido di sodio", "white caustic", "1310-73-2", "e524"),
        ),
        _NAOH,
    ),
    **dict.fromkeys(
        (
            *("potassium hydroxide", "potassium hydrate", "caustic potash", "potash lye", "koh"),
            *("kaliumhydroxid", "kalilauge", "atzkali", "aetzkali", "hydroxyde de potassium"),
            *("potasse caustique", "hidroxido de potasio", "potasa caustica", "potassa caustica"),
            *("idrossido di potassio", "wood ash lye", "ash lye", "1310-58-3", "e525"),
        ),
        _KOH,
    ),
    "lithium hydroxide": Base("LiOH", Decimal("23.948"), 1),
    **dict.fromkeys(
        ("calcium hydroxide", "slaked lime", "hydrated lime", "e526"),
        Base("Ca(OH)2", Decimal("74.093"), 2),
    ),
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
_WORDS = re.compile(r"[^\W\d_]+")
_CAS = re.compile(r"(?<![\d-])1310 ?-? ?(?:73 ?-? ?2|58 ?-? ?3)(?!\d)")
_E_NUMBER = re.compile(r"(?<!\w)e[ -]?52[456](?!\w)")
_APART = re.compile(r"[ -]")
#: Names without what stands between, since they are written apart, together and with hyphens.
_BY_LETTERS = {_APART.sub("", name): base for name, base in _ALKALIS.items()}
_BY_FORMULA: Mapping[str, Base] = {base.formula: base for base in _ALKALIS.values()}
#: What is sold by that name is NaOH where nothing says otherwise (common practice, no source).
_LYE = {"lye": _NAOH}
#: Of these a name tells what they are made from or hold ("Lye soap, poured", "Lye bottle").
_NAMED_AFTER = MADE_HERE | {MaterialKind.PACKAGING}
#: By the category of a letter, what it is read as: format, accent, dash.
_SEEN = {"Cf": " ", "Mn": "", "Pd": "-"}
#: Letters of other scripts that look like Latin ones: Cyrillic, then Greek.
_LOOKS_LIKE = str.maketrans(
    "\u0410\u0412\u0415\u0406\u041a\u041c\u041d\u041e\u0420\u0421\u0422\u0423\u0425"
    "\u0430\u0435\u043e\u0440\u0441\u0443\u0445\u0456\u0455\u0501"
    "\u0391\u0392\u0395\u0397\u0399\u039a\u039c\u039d\u039f\u03a1\u03a4\u03a5\u03a7\u03bf",
    "ABEIKMHOPCTYXaeopcyxisdABEHIKMNOPTYXo",
)
_BETWEEN_NAMES = re.compile(r"[,;:/&+()\[\]|=]|\band\b|\s-\s")
#: Words that may stand before the name of an alkali, which stays one, as figures do ("50 % sodium
#: hydroxide", "1 N NaOH", "Food grade lye"). Any other word makes it something else.
_BEFORE = frozenset(
    {
        *("percent", "pct", "per", "cent", "w", "v", "wt", "n", "m", "g", "kg", "lb", "lbs", "oz"),
        *("pure", "dry", "solid", "liquid", "aqueous", "solution", "of", "anhydrous"),
        *("concentrated", "diluted", "technical", "tech", "food", "grade", "lab", "laboratory"),
        *("reagent", "usp", "fcc", "acs", "nf", "pellets", "flakes", "beads", "prills", "pearls"),
        *("micropearls", "granules", "powder", "crystals", "lumps"),
    }
)
_WITHOUT = (["free"], ["less"])
#: With one of these a name tells what holds no lye, or is for it ("Clay without lye").
_OF_NONE = frozenset(
    {
        *("no", "non", "not", "without", "with", "free", "less", "zero", "for", "from", "in"),
        *("to", "by", "before", "after", "against", "using"),
    }
)
#: The most words of a name: "hidroxido de sodio".
_LONGEST = 3


def alkali_named(names: str, kind: MaterialKind | None = None) -> str:
    """The alkali among the names of a list of ingredients ("Aqua, Sodium Hydroxide"), or "".

    A name that goes on after an alkali's ("NaOH-pellets", "Lye, food grade") is of that alkali, and
    so is one with figures or a word of `_BEFORE` in front; of a `kind` that is named after what it
    is made from or holds whole names count alone. What is called lye or lye water at the end is
    lye ("Wood ash lye"), also where it is kept as made here; what is "-free" is none. Both together
    are "NaOH and KOH", which no stored lye is kept as. Case, accents, hyphens, figures, letters
    that are not seen (a space of no width) and those that look like Latin ones make no difference;
    a CAS or an E number says it by itself.
    """
    plain = _plain(names)
    parts = _parts(plain)
    worded = [_WORDS.findall(part) for part in parts]
    if kind in _NAMED_AFTER:
        written = [_APART.sub("", part) for part in parts]
        found = {_BY_LETTERS[one].formula for one in written if one in _BY_LETTERS}
        is_lye = kind is MaterialKind.INTERMEDIATE and any(map(_is_called_lye, worded))
    else:
        found = _numbered(plain, parts)
        found |= {each for words in worded for each in _begun(words, _BY_LETTERS)}
        is_lye = any(_begun(words, _LYE) or _is_called_lye(words) for words in worded)
    if not found and is_lye:
        # "Lye KOH flakes", "Crude potash lye": what it is stands behind.
        behind = (words[first:] for words in worded for first in range(len(words)))
        found = {each for words in behind for each in _begun(words, _BY_LETTERS)} or {"NaOH"}
    return " and ".join(sorted(found, reverse=True))


def alkali_in(material: Any) -> str:
    """The alkali that a material is kept as, or has among its names (a row, or the like)."""
    if material.alkali:
        return str(material.alkali)
    return alkali_named(f"{material.inci_name}, {material.name}", MaterialKind(material.kind))


def _numbered(plain: str, parts: Sequence[str]) -> set[str]:
    """The formulas of the bases whose numbers stand in a text: CAS anywhere, E unless without."""
    numbers: list[str] = _CAS.findall(plain)
    for part in parts:
        if _OF_NONE.isdisjoint(_WORDS.findall(part)):
            numbers += _E_NUMBER.findall(part)
    return {_BY_LETTERS[_APART.sub("", number)].formula for number in numbers}


def _is_called_lye(words: Sequence[str]) -> bool:
    """Whether a name ends in "lye" or "lye water", and not as what it is without or for."""
    end = len(words) - (words[-1:] == ["water"])
    return words[:end][-1:] == ["lye"] and _OF_NONE.isdisjoint(words)


def _begun(words: Sequence[str], bases: Mapping[str, Base]) -> set[str]:
    """The formula of the base whose name these words begin with, after words of `_BEFORE`."""
    first = next((at for at, word in enumerate(words) if word not in _BEFORE), len(words))
    for end in range(first + 1, first + 1 + _LONGEST):
        base = bases.get("".join(words[first:end]))
        if base is not None and words[end : end + 1] not in _WITHOUT:
            return {base.formula}
    return set()


def naoh_of(alkali: str) -> Decimal:
    """g NaOH that do what one g of an alkali of `alkali_named` does; of several, the strongest."""
    return max(_BY_FORMULA[one].as_naoh for one in alkali.split(" and "))


def carbonate_as_naoh(names: str) -> Decimal:
    """g NaOH that take as much acid as one g of the carbonate among these names; 0 without one."""
    found = [_CARBONATES[part].as_naoh for part in _parts(_plain(names)) if part in _CARBONATES]
    return max(found, default=Decimal(0))


@lru_cache(maxsize=4096)
def _plain(names: str) -> str:
    """Names without case and accents, in Latin letters, with one sort of hyphen and of space."""
    letters = normalize("NFKD", names).translate(_LOOKS_LIKE).casefold()
    letters = letters.replace("\N{MINUS SIGN}", "-")
    return " ".join("".join(_SEEN.get(category(one), one) for one in letters).split())


def _parts(plain: str) -> list[str]:
    """The names of a list one by one."""
    return [part.strip() for part in _BETWEEN_NAMES.split(plain)]
