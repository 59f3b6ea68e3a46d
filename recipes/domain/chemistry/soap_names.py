"""What alkali makes of a fat or an acid, by the names that labels print."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache

from recipes.domain.chemistry.tables import rows


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
