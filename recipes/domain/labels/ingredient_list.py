"""The ingredients of a bar as a label lists them: by mass, descending, colorants last; allergens.

Two published conventions: what went in (every ingredient as it was added), or what results (salts
of each fat, glycerin, the fat that is left, water after the cure). Order: descending by mass; what
is under 1 % may follow in any order, and is kept descending here; colorants come last in any order
(21 CFR 701.3(a) and (f), clause letters from memory; Reg. (EC) 1223/2009 art. 19(1)(g)). Impurities
are no ingredients (art. 19(1)). Drafts: names and order must be checked against local law.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum

from inventory.domain.catalog.allergens import Allergen
from recipes.domain.chemistry.lye import ZERO, PureAlkali
from recipes.domain.chemistry.soap_made import (
    Gives,
    ReactingAcid,
    ReactingFat,
    soap_made,
    soap_names,
)
from recipes.domain.weighing import nearest_whole
from studio.foundation.money import split

#: Named above this share of a rinse-off product (Reg. (EC) 1223/2009, Annex III; from memory).
RINSE_OFF = Decimal("0.0001")
_PLACES = Decimal("0.000001")
MILLION = 10**6
#: Below this share the order is free: less than 1 % (EU), 1 % or less (US); the stricter is taken.
FREE_ORDER_BELOW = 10_000


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


class Convention(StrEnum):
    """Which list is made."""

    ADDED = "added"
    RESULTS = "results"


class Role(StrEnum):
    """What an ingredient does to the list."""

    FAT = "fat"
    ALKALI = "alkali"
    ACID = "acid"
    WATER = "water"
    FRAGRANCE = "fragrance"
    COLORANT = "colorant"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class Wording:
    """The words for what two laws call differently."""

    water: str = "Aqua"
    fragrance: str = "Parfum"
    glycerin: str = "Glycerin"


EU = Wording()


US = Wording(water="Water", fragrance="Fragrance")


@dataclass(frozen=True, slots=True, kw_only=True)
class Ingoing:
    """One thing that went into the soap.

    `sv_mg_koh_g` for fats that the lye is set on. `alkali` is "NaOH" or "KOH" of the share
    `purity`; the rest is water where `is_solution`, else impurity. Acids: `naoh_g_per_g` and their
    `water_share`. `beside` are names that come along in unknown small amounts (an infusion's herb).
    """

    name: str
    mass_ng: int
    role: Role = Role.OTHER
    sv_mg_koh_g: Decimal = ZERO
    alkali: str = ""
    purity: Decimal = Decimal(1)
    is_solution: bool = False
    naoh_g_per_g: Decimal = ZERO
    water_share: Decimal = ZERO
    beside: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """One name of the list with its mass in ng and its share of what is listed, in millionths."""

    name: str
    mass_ng: int
    millionths: int
    is_colorant: bool = False
    order_is_free: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class IngredientList:
    """A list in label order, and what is not on it.

    `in_ng` went in; `evaporated_ng` dried off (what results only); `impurities_ng` of dry alkali
    are no ingredients. `unpublished` are names that no list has.
    """

    items: tuple[Listed, ...]
    in_ng: int
    evaporated_ng: int = 0
    impurities_ng: int = 0
    superfat: Decimal | None = None
    unpublished: tuple[str, ...] = field(default_factory=tuple)

    @property
    def names(self) -> tuple[str, ...]:
        """The names in order."""
        return tuple(item.name for item in self.items)


def list_added(ingoing: Sequence[Ingoing], *, wording: Wording = EU) -> IngredientList:
    """What went in. A lye solution is listed as its alkali and its water."""
    amounts = _Amounts(wording)
    for one in ingoing:
        if one.role is Role.ALKALI:
            solids = nearest_whole(one.mass_ng * one.purity) if one.is_solution else one.mass_ng
            amounts.add(_alkali_name(one), solids)
            amounts.add(wording.water, one.mass_ng - solids)
        else:
            amounts.add_as_it_is(one)
    return IngredientList(items=amounts.ordered(), in_ng=sum(one.mass_ng for one in ingoing))


def list_results(
    ingoing: Sequence[Ingoing],
    *,
    dried_ng: int = 0,
    wording: Wording = EU,
    found_safe: bool = False,
) -> IngredientList:
    """What results: salts, glycerin, the fat that is left, and the water that is still there.

    `dried_ng` is what the cure takes off, out of the water and never more than there is of it.
    `found_safe` and what is raised are as of `soap_made`.
    """
    fats = [one for one in ingoing if one.role is Role.FAT]
    acids = [one for one in ingoing if one.role is Role.ACID]
    made = soap_made(
        [_fat(one) for one in fats],
        [_acid(one) for one in acids],
        _pure(ingoing),
        found_safe=found_safe,
    )
    amounts = _Amounts(wording)
    for one in ingoing:
        if one.role not in (Role.ALKALI, Role.ACID, Role.WATER, Role.FAT):
            amounts.add_as_it_is(one)
        amounts.add_beside(one)
    for name, mass in (*made.salts.items(), *made.fats.items(), (wording.glycerin, made.glycerin)):
        amounts.add(name, nearest_whole(mass))
    impurities, brought = _beside_the_alkali(ingoing)
    there = nearest_whole(made.water + brought)
    dried = min(dried_ng, there)
    amounts.add(wording.water, there - dried)
    return IngredientList(
        items=amounts.ordered(),
        in_ng=sum(one.mass_ng for one in ingoing),
        evaporated_ng=dried,
        impurities_ng=impurities,
        superfat=made.superfat,
        unpublished=_unpublished((*fats, *acids)),
    )


def _beside_the_alkali(ingoing: Sequence[Ingoing]) -> tuple[int, Decimal]:
    """What dry alkali holds beside it, and the water that lyes, acids and waters bring. In ng."""
    impurities, water = 0, Decimal(0)
    for one in ingoing:
        if one.role is Role.ALKALI:
            rest = one.mass_ng * (1 - one.purity)
            water += rest if one.is_solution else 0
            impurities += 0 if one.is_solution else nearest_whole(rest)
        elif one.role is Role.ACID:
            water += one.mass_ng * one.water_share
        elif one.role is Role.WATER:
            water += one.mass_ng
    return impurities, water


class _Amounts:
    """Masses by name, each name once."""

    def __init__(self, wording: Wording) -> None:
        self.wording = wording
        self.masses: dict[str, int] = defaultdict(int)
        self.colorants: set[str] = set()

    def add_as_it_is(self, one: Ingoing) -> None:
        name = one.name
        if one.role is Role.FRAGRANCE:
            name = self.wording.fragrance
        elif one.role is Role.WATER:
            name = self.wording.water
        if one.role is Role.COLORANT and name not in self.masses:
            self.colorants.add(name)
        elif one.role is not Role.COLORANT:
            self.colorants.discard(name)
        self.add(name, one.mass_ng)
        self.add_beside(one)

    def add(self, name: str, mass_ng: int) -> None:
        if mass_ng:
            self.masses[name] += mass_ng

    def add_beside(self, one: Ingoing) -> None:
        for name in one.beside:
            if one.role is Role.COLORANT and name not in self.masses:
                self.colorants.add(name)
            self.masses[name] += 0

    def ordered(self) -> tuple[Listed, ...]:
        names = sorted(
            self.masses, key=lambda name: (name in self.colorants, -self.masses[name], name)
        )
        masses = [self.masses[name] for name in names]
        shares = split(MILLION, masses) if sum(masses) else [0] * len(masses)
        return tuple(
            Listed(
                name=name,
                mass_ng=mass,
                millionths=share,
                is_colorant=name in self.colorants,
                order_is_free=share < FREE_ORDER_BELOW or name in self.colorants,
            )
            for name, mass, share in zip(names, masses, shares, strict=True)
        )


def _fat(one: Ingoing) -> ReactingFat:
    return ReactingFat(
        name=one.name,
        mass_ng=one.mass_ng,
        sv_mg_koh_g=one.sv_mg_koh_g,
        names=soap_names(one.name),
    )


def _acid(one: Ingoing) -> ReactingAcid:
    return ReactingAcid(
        name=one.name,
        mass_ng=one.mass_ng * (1 - one.water_share),
        naoh_ng=one.mass_ng * one.naoh_g_per_g,
        names=soap_names(one.name, gives=Gives.WATER),
    )


def _pure(ingoing: Iterable[Ingoing]) -> PureAlkali:
    masses = dict.fromkeys(("NaOH", "KOH"), ZERO)
    for one in ingoing:
        if one.role is Role.ALKALI:
            masses[one.alkali] += one.mass_ng * one.purity
    return PureAlkali(naoh=masses["NaOH"], koh=masses["KOH"])


def _alkali_name(one: Ingoing) -> str:
    return "Sodium Hydroxide" if one.alkali == "NaOH" else "Potassium Hydroxide"


def _unpublished(reacting: Iterable[Ingoing]) -> tuple[str, ...]:
    names = dict.fromkeys(one.name for one in reacting)
    return tuple(name for name in names if not soap_names(name).known)
