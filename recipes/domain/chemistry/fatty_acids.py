"""What a blend of fats is made of (iodine value, fatty acids), and the ranges published for it.

The published quantities themselves; no quality of a bar is derived from them.

Ranges are identity limits of the codes named in `tables/fatty_acid_ranges.csv`. A share outside
of the weighted range says that a fat's kept values differ from the code, nothing of the soap.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from types import MappingProxyType

from recipes.domain.chemistry.tables import rows
from recipes.domain.formulas.formula import Basis, Ingredient
from recipes.domain.formulas.scaled import ScaledBatch
from studio.foundation.hints import Share

Range = tuple[Decimal, Decimal]


@dataclass(frozen=True, slots=True)
class FatsProfile:
    """A blend of fats; shares are of all its fatty acids.

    `iodine_value` (g iodine per 100 g, ISO 3961) is None unless each fat has one. `known_share` is
    the share of the fats whose fatty acids are known; the other shares are within those.
    """

    iodine_value: Decimal | None
    fatty_acids: Mapping[str, Share]
    saturated_share: Share
    known_share: Share


def is_saturated(fatty_acid: str) -> bool:
    """Whether shorthand such as "C12:0" names an acid without double bonds."""
    return fatty_acid.partition(":")[2] == "0"


def profile_of(fats: Iterable[tuple[Ingredient, int]]) -> FatsProfile:
    """The profile of (fat, mass) pairs, each weighted by its mass."""
    blend = [(fat, mass) for fat, mass in fats if mass]
    total = sum(mass for _, mass in blend)
    known = sum(mass for fat, mass in blend if fat.fatty_acids)
    acids: dict[str, Decimal] = {}
    for fat, mass in blend:
        for acid, share in fat.fatty_acids.items():
            acids[acid] = acids.get(acid, Decimal(0)) + share * mass
    shares = {acid: amount / known for acid, amount in sorted(acids.items(), key=_carbon_order)}
    return FatsProfile(
        iodine_value=_iodine_value(blend, total),
        fatty_acids=shares,
        saturated_share=sum((s for acid, s in shares.items() if is_saturated(acid)), Decimal(0)),
        known_share=Decimal(known) / total if total else Decimal(0),
    )


def batch_profile(batch: ScaledBatch) -> FatsProfile:
    """The profile of the fats of a scaled batch, at their rounded weights."""
    return profile_of(
        (scaled.line.ingredient, scaled.rounded_ng)
        for scaled in batch.lines
        if scaled.line.basis is Basis.SHARE_OF_FATS
    )


def _iodine_value(blend: list[tuple[Ingredient, int]], total: int) -> Decimal | None:
    absorbed = Decimal(0)
    for fat, mass in blend:
        if fat.iodine_value is None:
            return None
        absorbed += fat.iodine_value * mass
    return absorbed / total if total else None


def _carbon_order(item: tuple[str, Decimal]) -> tuple[int, str]:
    carbons = item[0].partition(":")[0].lstrip("C")
    return (int(carbons) if carbons.isdigit() else 99, item[0])


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
