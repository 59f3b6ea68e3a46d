"""What a blend of fats is made of: iodine value, shares of the fatty acids, share saturated.

The published quantities themselves; no quality of a bar is derived from them.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from recipes.domain.formulas.formula import Basis, Ingredient
from recipes.domain.formulas.scaled import ScaledBatch


@dataclass(frozen=True, slots=True)
class FatsProfile:
    """A blend of fats; shares are of all its fatty acids.

    `iodine_value` (g iodine per 100 g, ISO 3961) is None unless each fat has one. `known_share` is
    the share of the fats whose fatty acids are known; the other shares are within those.
    """

    iodine_value: Decimal | None
    fatty_acids: Mapping[str, Decimal]
    saturated_share: Decimal
    known_share: Decimal


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
