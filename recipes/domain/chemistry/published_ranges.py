"""The published range of each fatty acid in a blend of fats: each fat's range by its share.

Ranges are identity limits of the codes named in `tables/fatty_acid_ranges.csv`. A share outside
of the weighted range says that a fat's kept values differ from the code, nothing of the soap.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from types import MappingProxyType

from recipes.domain.chemistry.tables import rows

Range = tuple[Decimal, Decimal]


@dataclass(frozen=True, slots=True)
class PublishedRanges:
    """Low and high share of each acid of one fat, and the standard that gives them."""

    standard: str
    acids: Mapping[str, Range]


@dataclass(frozen=True, slots=True)
class BlendRanges:
    """The weighted ranges of a blend. Empty where a fat of it has none: its code is `without`."""

    acids: Mapping[str, Range]
    standards: tuple[str, ...]
    without: tuple[str, ...]


@cache
def published_ranges() -> Mapping[str, PublishedRanges]:
    """The ranges by the code under which the trade's list of fats keeps each fat."""
    found: dict[str, tuple[str, dict[str, Range]]] = {}
    for fat, standard, acid, low, high in rows("fatty_acid_ranges.csv")[1:]:
        found.setdefault(fat, (standard, {}))[1][acid] = (Decimal(low), Decimal(high))
    return MappingProxyType(
        {
            fat: PublishedRanges(name, MappingProxyType(acids))
            for fat, (name, acids) in found.items()
        }
    )


def blend_ranges(fats: Mapping[str, Decimal]) -> BlendRanges:
    """The ranges of a blend given as fat's code -> mass or share, in any one unit.

    low = sum of share x low, and the same with high. An acid that a fat's standard does not list
    adds nothing for that fat.
    """
    known = published_ranges()
    parts = {code: amount for code, amount in fats.items() if amount > 0}
    without = tuple(code for code in parts if code not in known)
    if without or not parts:
        return BlendRanges({}, (), without)
    total = sum(parts.values(), Decimal(0))
    acids: dict[str, Range] = {}
    for code, amount in parts.items():
        for acid, (low, high) in known[code].acids.items():
            so_far = acids.get(acid, (Decimal(0), Decimal(0)))
            acids[acid] = (so_far[0] + low * amount / total, so_far[1] + high * amount / total)
    standards = tuple(dict.fromkeys(known[code].standard for code in parts))
    return BlendRanges(acids, standards, ())
