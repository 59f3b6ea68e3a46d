"""What a thing consists of, through any number of levels: worked out from what went into it.

Everything is per unit of mass of the thing, so it may be added up over takes. What is mixed keeps
all that went in (balance of mass, as in any textbook of process calculation: components in =
components out); alkali makes soap of fat only where soap is poured, and `react` says what is left.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import TypeVar

from inventory.domain.catalog.alkalis import KOH_PER_NAOH, naoh_of
from inventory.domain.catalog.certificate import Certificate
from inventory.domain.stock.leaves import NONE, ONE, ZERO, Leaf, Scent, Span

_MG_PER_G = Decimal(1000)
Key = TypeVar("Key")


@dataclass(frozen=True, slots=True, kw_only=True)
class Contents:
    """What one unit of mass holds.

    `naoh` and `koh` are pure alkali; `acid_naoh` is the NaOH that its acids take, `carbonate_naoh`
    what its carbonates take of acids, as NaOH. `demand` is in mg KOH per g of the whole, clay and
    water included; None where nobody stated that of a fat. `leaves` are what it was made of,
    `reacted` the part of that which was soap already; `strained` gave only its name.
    """

    naoh: Span = NONE
    koh: Span = NONE
    acid_naoh: Decimal = ZERO
    carbonate_naoh: Decimal = ZERO
    demand: Span | None = NONE
    water: Decimal = ZERO
    scents: Mapping[Scent, Decimal] = field(default_factory=dict)
    leaves: Mapping[Leaf, Decimal] = field(default_factory=dict)
    reacted: Mapping[Leaf, Decimal] = field(default_factory=dict)
    strained: frozenset[Leaf] = frozenset()

    @property
    def alkali(self) -> str:
        """The alkali that it holds, "NaOH" or "KOH", "NaOH and KOH", or ""."""
        return " and ".join(name for name, span in (("NaOH", self.naoh), ("KOH", self.koh)) if span)


EMPTY = Contents()


@dataclass(frozen=True, slots=True)
class Part:
    """So much of a thing that went into another; what does not stay was strained out again."""

    contents: Contents
    mass: Decimal | int
    stays: bool = True


def of_leaf(leaf: Leaf) -> Contents:
    """A bought lot, or a material, by its own values."""
    koh = leaf.purity if leaf.alkali == "KOH" else NONE
    naoh = NONE if koh or not leaf.alkali else leaf.purity.times(naoh_of(leaf.alkali))
    scent = leaf.scent
    return Contents(
        naoh=naoh,
        koh=koh,
        acid_naoh=leaf.acid_naoh,
        carbonate_naoh=leaf.carbonate_naoh,
        demand=leaf.demand,
        water=leaf.water_share,
        scents={} if scent is None else {scent: ONE},
        leaves={leaf: ONE},
    )


def mix(parts: Sequence[Part], *, out: Decimal | int, steam: Decimal | int = 0) -> Contents:
    """What came out weighs `out`; `steam` of water left it. Masses in one unit.

    What else is missing stayed in the pot and is loss of the whole. What was strained out gave its
    name alone, and is no part of what came out.
    """
    whole = sum((Decimal(part.mass) for part in parts if part.stays), ZERO)
    if out <= 0:
        return EMPTY
    kept = min(ONE, (Decimal(out) + steam) / whole) if whole else ZERO
    mixed = EMPTY
    for part in parts:
        if part.stays:
            mixed = _added(mixed, part.contents, Decimal(part.mass) * kept / out)
    strained = [
        leaf
        for part in parts
        for leaf in (part.contents.strained if part.stays else _names(part.contents))
    ]
    return replace(
        mixed,
        water=max(mixed.water - Decimal(steam) / out, ZERO),
        strained=frozenset(strained) - mixed.leaves.keys() - mixed.reacted.keys(),
    )


def _names(contents: Contents) -> frozenset[Leaf]:
    return contents.strained | contents.leaves.keys() | contents.reacted.keys()


def _added(one: Contents, other: Contents, factor: Decimal) -> Contents:
    demand = None
    if one.demand is not None and other.demand is not None:
        demand = one.demand + other.demand.times(factor)
    return Contents(
        naoh=one.naoh + other.naoh.times(factor),
        koh=one.koh + other.koh.times(factor),
        acid_naoh=one.acid_naoh + other.acid_naoh * factor,
        carbonate_naoh=one.carbonate_naoh + other.carbonate_naoh * factor,
        demand=demand,
        water=one.water + other.water * factor,
        scents=_sum(one.scents, other.scents, factor),
        leaves=_sum(one.leaves, other.leaves, factor),
        reacted=_sum(one.reacted, other.reacted, factor),
    )


def _sum(
    one: Mapping[Key, Decimal], other: Mapping[Key, Decimal], factor: Decimal
) -> dict[Key, Decimal]:
    total: dict[Key, Decimal] = defaultdict(Decimal, one)
    for key, share in other.items():
        total[key] += share * factor
    return dict(total)


def react(contents: Contents) -> Contents:
    """Poured soap: alkali and fats have used each other up, and only an excess of alkali is left.

    The excess is told as NaOH. Fat that is left is no fat that a lye is set on.
    """
    fats = contents.demand or NONE
    acid, carbonate = contents.acid_naoh, contents.carbonate_naoh

    def free(naoh: Decimal, koh: Decimal, demand: Decimal, taken: Decimal) -> Decimal:
        left = naoh + (koh - demand / _MG_PER_G) / KOH_PER_NAOH - taken
        return max(left, ZERO)

    taken = max(acid - carbonate, ZERO)
    return replace(
        contents,
        naoh=Span(
            free(contents.naoh.low, contents.koh.low, fats.high, taken),
            free(contents.naoh.usual, contents.koh.usual, fats.usual, taken),
            free(contents.naoh.high, contents.koh.high, fats.low, acid - carbonate),
        ),
        koh=NONE,
        acid_naoh=ZERO,
        carbonate_naoh=ZERO,
        demand=NONE,
        leaves={},
        reacted=_sum(contents.leaves, contents.reacted, ONE),
    )


def measured(contents: Contents, own: Certificate, leaf: Leaf) -> Contents:
    """With what was measured on the made lot itself, which goes before all that is derived.

    `leaf` is that lot as if it had been bought: its nominal values serve where nothing can be
    derived, and its certified maximum in the finished product holds beside those of its parts.
    """
    known = contents
    if own.purity is not None and (alkali := contents.alkali or leaf.alkali):
        pure = Span.exactly(own.purity)
        known = replace(known, koh=pure) if alkali == "KOH" else replace(known, naoh=pure)
    if own.sv_mg_koh_g is not None or (known.demand is None and leaf.demand):
        known = replace(known, demand=leaf.demand)
    if own.water_share is not None:
        known = replace(known, water=own.water_share)
    if leaf.ifra_category9_max is not None and leaf.scent is not None:
        known = replace(known, scents={**known.scents, leaf.scent: ONE})
    return known


def steam_of(*, into: int, out: int, planned_loss: Decimal, alkali: Decimal) -> int:
    """How much of what did not come out was water, in the unit of the masses.

    `alkali` is the mass of pure alkali that went in. As planned, `planned_loss` (a share) stays in
    the pot, of the whole; beyond that, while alkali is inside, it is water that steamed off:
    hot lye gives off water and keeps its alkali, and to count the loss as lye would make what is
    left weaker on paper than it is. Nothing steams off where there is no alkali, as far as anybody
    knows, and never more than is no alkali.
    """
    if alkali <= 0 or out <= 0:
        return 0
    beyond = into * (ONE - planned_loss) - out
    most = out * (into - alkali) / alkali
    return int(max(min(beyond, most), ZERO))
