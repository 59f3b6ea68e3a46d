"""Which fragrance allergens a soap has to name, by the certificates of its fragrance lots."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from inventory.domain.stock.allergens import Allergen

#: Named above this share of a rinse-off product (Reg. (EC) 1223/2009, Annex III; from memory).
RINSE_OFF = Decimal("0.0001")
_PLACES = Decimal("0.000001")


@dataclass(frozen=True, slots=True, kw_only=True)
class FragranceTake:
    """So much of a fragrance lot; `allergens` None where its certificate states nothing."""

    lot: str
    mass_ng: int
    allergens: Sequence[Allergen] | None


@dataclass(frozen=True, slots=True)
class AllergenShare:
    """An allergen with its share of the finished soap, to six places, rounded to even."""

    name: str
    share: Decimal


@dataclass(frozen=True, slots=True)
class LabelAllergens:
    """What must be named, the largest first, and the lots of which nobody knows."""

    named: tuple[AllergenShare, ...]
    unstated: tuple[str, ...]


def label_allergens(takes: Sequence[FragranceTake], *, finished_ng: int) -> LabelAllergens:
    """Allergens above 0.01 % of the finished soap, summed over all fragrance lots.

    Decided on the exact shares. The cure takes off water, so shares are of what is left of it.
    """
    masses: dict[str, Decimal] = defaultdict(Decimal)
    spelled: dict[str, str] = {}
    for take in takes:
        for one in take.allergens or ():
            spelled.setdefault(one.name.casefold(), one.name)
            masses[one.name.casefold()] += take.mass_ng * one.share
    named = [
        AllergenShare(spelled[key], (mass / finished_ng).quantize(_PLACES))
        for key, mass in sorted(masses.items(), key=lambda item: (-item[1], item[0]))
        if finished_ng and mass > RINSE_OFF * finished_ng
    ]
    unstated = dict.fromkeys(take.lot for take in takes if take.allergens is None)
    return LabelAllergens(tuple(named), tuple(unstated))
