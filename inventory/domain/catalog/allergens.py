"""Fragrance allergens that a lot's certificate states, by name with their share of the material.

Under EU rules each is named on a rinse-off product above 0.01 % of it (Reg. (EC) 1223/2009, Annex
III; thresholds from memory). None means that nobody stated anything; an empty list, that there are
none.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from studio.foundation.errors import Faults
from studio.foundation.units.writing import percent

MOST_ALLERGENS = 120
LONGEST_NAME = 80
SHARE_PLACES = 8


@dataclass(frozen=True, slots=True)
class Allergen:
    """One allergen by the name that a label prints; `share` is a fraction of the material."""

    name: str
    share: Decimal


def read_allergens(stored: Sequence[Mapping[str, Any]] | None) -> tuple[Allergen, ...] | None:
    """What is stored of a lot; None where its certificate stated nothing."""
    if stored is None:
        return None
    return tuple(Allergen(str(one["name"]), Decimal(str(one["share"]))) for one in stored)


def written_allergens(allergens: Sequence[Allergen]) -> list[dict[str, str]]:
    """The same as JSON holds it, shares as exact text."""
    return [{"name": one.name.strip(), "share": f"{one.share.normalize():f}"} for one in allergens]


def allergens_in_words(stored: Sequence[Mapping[str, Any]]) -> str:
    """What is stored of a lot as people read it ("Linalool 1.2 %, Limonene 0.4 %")."""
    named = (
        f"{one.name} {percent(one.share, SHARE_PLACES)}" for one in read_allergens(stored) or ()
    )
    return ", ".join(named) or "none"


def check_allergens(faults: Faults, allergens: Sequence[Allergen], *, field: str) -> None:
    """Add a fault for each name or share that cannot be, and for shares above the whole."""
    if len(allergens) > MOST_ALLERGENS:
        faults.add("too-many", f"At most {MOST_ALLERGENS} allergens.", field)
    seen: set[str] = set()
    total = Decimal(0)
    for index, one in enumerate(allergens):
        name = one.name.strip()
        if not name or len(name) > LONGEST_NAME:
            faults.add("name", f"A name has 1 to {LONGEST_NAME} letters.", f"{field}.{index}.name")
        elif name.casefold() in seen:
            faults.add("named-twice", f"{name} is named twice.", f"{field}.{index}.name")
        seen.add(name.casefold())
        if one.share.is_finite() and 0 < one.share <= 1:
            total += one.share
        else:
            faults.add(
                "share",
                "A share of the material, above 0 and at most 1 (0.012 for 1.2 %).",
                f"{field}.{index}.share",
            )
    if total > 1:
        faults.add("over-whole", "Together they are more than all of the material.", field)
