"""A recipe without a size: what goes in, by which basis, at which stage, in which portion.

A formula has no size: `recipes.domain.scaling.scaling` gives it one, and
`recipes.domain.chemistry.formula_check.check_formula` says whether it can be made at all. All
shares are Decimal fractions of 1 (0.05 is 5 %); masses inside the project are integer nanograms,
but the amounts a maker writes in a line (grams a batch, grams per kg of fats) stay the Decimals
written.

The batter without colorants is split by the portions' shares; what a portion's colorants weigh
comes on top. Splits conserve the batter to the last nanogram.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from dataclasses import field as dataclass_field
from decimal import Decimal
from enum import StrEnum

from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.stock.contents import Contents
from studio.foundation.errors import Faults, InvalidInput
from studio.foundation.hints import Share
from studio.foundation.money import split

SHARE_PLACES = 6
WHOLE = 10**SHARE_PLACES
MOST_PORTIONS = 12
LONGEST_NAME = 40
ZERO = Decimal(0)
ONE = Decimal(1)


@dataclass(frozen=True, slots=True)
class Portion:
    """A part of the batter by name; `share` is a fraction of 1 of at most six places."""

    name: str
    share: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class PortionWeight:
    """What one portion weighs in ng: plain batter to ladle off, and the colorants for it."""

    name: str
    share: Share
    plain_ng: int
    colorants_ng: int

    @property
    def total_ng(self) -> int:
        """The colored portion."""
        return self.plain_ng + self.colorants_ng


def check_portions(
    portions: Sequence[Portion], named: Iterable[tuple[str, str]], faults: Faults
) -> None:
    """Add what is wrong with the portions, and with lines that name one that is not there.

    `named` are (path of a line, portion it goes into); an empty name is a fault only where there
    are portions to choose from.
    """
    known = {portion.name for portion in portions}
    for path, name in named:
        if name not in known and (name or portions):
            words = f"There is no portion '{name}'." if name else "Say into which portion it goes."
            faults.add("unknown-portion", f"{words} {_listed(known)}", f"{path}.portion")
    seen: set[str] = set()
    for index, portion in enumerate(portions):
        _check_portion(portion, seen, f"portions.{index}", faults)
        seen.add(portion.name)
    if len(portions) > MOST_PORTIONS:
        faults.add("too-many-portions", f"At most {MOST_PORTIONS} portions.", "portions")
    total = sum((portion.share for portion in portions), Decimal(0))
    if portions and total != 1:
        faults.add(
            "portions-not-whole",
            f"The portions must sum to 100 %; they sum to {(total * 100).normalize():f} %.",
            "portions",
            sum=str(total),
        )


def _check_portion(portion: Portion, seen: set[str], path: str, faults: Faults) -> None:
    name, share = portion.name, portion.share
    if not name.strip() or len(name) > LONGEST_NAME:
        faults.add("portion-name", f"A name of 1 to {LONGEST_NAME} characters.", f"{path}.name")
    elif name in seen:
        faults.add("portion-twice", f"There are two portions '{name}'.", f"{path}.name")
    if not (share.is_finite() and 0 < share <= 1):
        faults.add("portion-share", "A share above 0 and at most 100 %.", f"{path}.share")
    elif int(share.as_tuple().exponent) < -SHARE_PLACES:
        faults.add("too-precise", f"At most {SHARE_PLACES} places are kept.", f"{path}.share")


def _listed(known: set[str]) -> str:
    return f"The recipe has: {', '.join(sorted(known))}." if known else "The recipe has none."


def split_batter(
    portions: Sequence[Portion], *, batter_ng: int, colorants_ng: Mapping[str, int]
) -> tuple[PortionWeight, ...]:
    """The weight of each portion; their totals sum to `batter_ng` exactly.

    `batter_ng` is all that is poured, colorants of portions included; `colorants_ng` says how much
    of it each portion's own colorants weigh. The rest is split by the shares, largest remainder
    first. Raises InvalidInput when the colorants outweigh the batter.
    """
    if not portions:
        return ()
    plain = batter_ng - sum(colorants_ng.values())
    if plain < 0:
        raise InvalidInput("The colorants weigh more than the batter.", field="portions")
    parts = split(plain, [weight_of(portion.share) for portion in portions])
    return tuple(
        PortionWeight(
            name=portion.name,
            share=portion.share,
            plain_ng=part,
            colorants_ng=colorants_ng.get(portion.name, 0),
        )
        for portion, part in zip(portions, parts, strict=True)
    )


def weight_of(share: Decimal) -> int:
    """A share of at most six places as a whole number of millionths."""
    return int(share * WHOLE)


class Basis(StrEnum):
    """What the amount of a line is measured against."""

    SHARE_OF_FATS = "share-of-fats"
    """Share of the fat total; these lines are the fats of the lye and must sum to exactly 1."""
    OF_FATS = "of-fats"
    """Share of the fat total, on top of it (clay at 0.02 is 20 g per kg of fats)."""
    OF_BATTER = "of-batter"
    """Share of the whole batter, this line included."""
    G_PER_KG_FATS = "g-per-kg-fats"
    """Grams per kilogram of fats."""
    PIECE_PER_FATS = "piece-per-fats"
    """One piece per `amount` grams of fats (a whole egg per 500 g): whole pieces only."""
    FIXED = "fixed"
    """Grams, or pieces of a counted material, per batch whatever its size."""
    PER_BAR = "per-bar"
    """Pieces (or grams) per bar: wraps, boxes, labels."""
    OF_PORTION = "of-portion"
    """Share of the color portion that it goes into: of that portion's share of the batter."""
    TSP_PER_LB_FATS = "tsp-per-lb-fats"
    """US teaspoons per pound of fats, in a color portion of the portion's share of them."""


class Stage(StrEnum):
    """When a line goes in."""

    FATS = "fats"
    LYE = "lye"
    TRACE = "trace"
    PORTION = "portion"
    TOP = "top"
    PACK = "pack"


BATTER_STAGES = frozenset({Stage.FATS, Stage.LYE, Stage.TRACE, Stage.PORTION})


"""What is poured. Toppings and packaging are neither in the batter's mass nor in its volume."""


@dataclass(frozen=True, slots=True)
class Ingredient:
    """What the chemistry has to know of one material.

    Saponification values in mg KOH per g (ISO 3657), iodine value in g iodine per 100 g (ISO
    3961), `fatty_acids` as shares of all fatty acids ("C12:0": 0.48), `acid_naoh_g_per_g` in g
    NaOH that one g of the material takes, density in g/mL at its temperature in degrees C.
    `ifra_category9_max_share` is a share of the finished product, from the certificate. `alkali`
    is the one it holds, "NaOH" or "KOH": dry, or as a lye made here. `carbonate_naoh_g_per_g` is
    what its carbonate takes of acids, as g NaOH. `inside` is what it consists of by the recipe that
    makes it here; its values are those of the whole then.
    """

    code: str
    name: str
    kind: MaterialKind
    counted: bool = False
    sv_mg_koh_g: Decimal | None = None
    sv_low: Decimal | None = None
    sv_high: Decimal | None = None
    iodine_value: Decimal | None = None
    fatty_acids: Mapping[str, Decimal] = dataclass_field(default_factory=dict)
    water_share: Decimal = ZERO
    fat_share: Decimal = ZERO
    acid_naoh_g_per_g: Decimal | None = None
    density_g_ml: Decimal | None = None
    density_temperature_c: Decimal | None = None
    piece_mass_ng: int | None = None
    ifra_category9_max_share: Decimal | None = None
    alkali: str = ""
    carbonate_naoh_g_per_g: Decimal = ZERO
    inside: Contents | None = None

    @property
    def holds_alkali(self) -> bool:
        """Whether it brings alkali along: by its kind, or because it is kept or named as one."""
        return self.kind is MaterialKind.ALKALI or bool(self.alkali)


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a formula. `amount` is read by `basis`.

    `counts_as_water` says that the water in this liquid is part of the lye's water, so that much
    less plain water is weighed. `portion` names the color portion for `Stage.PORTION`, and
    `portion_share` is that portion's share of the batter.
    """

    ingredient: Ingredient
    basis: Basis
    stage: Stage
    amount: Decimal
    counts_as_water: bool = False
    portion: str | None = None
    portion_share: Decimal = ONE


@dataclass(frozen=True, slots=True, kw_only=True)
class Purest:
    """The most that may be pure alkali in what is weighed; None: just what the formula says."""

    naoh: Decimal | None = None
    koh: Decimal | None = None
    masterbatch: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Alkali:
    """How the lye is set.

    `superfat` is the share of the fats' alkali demand left out. `lye_concentration` is pure
    alkali over the mass of the whole lye (alkali as weighed + water), by mass. `koh_share` is the
    molar share of the alkali that is KOH. Purities are shares by mass; 1 until a certificate says
    less, because that errs to too little alkali. `masterbatch_strength` is pure NaOH by mass of a
    stored lye that supplies all the NaOH; None means dry NaOH. KOH is always weighed dry.
    `purest` is for the worst case alone.
    """

    superfat: Decimal
    lye_concentration: Decimal
    koh_share: Decimal = ZERO
    naoh_purity: Decimal = ONE
    koh_purity: Decimal = ONE
    masterbatch_strength: Decimal | None = None
    purest: Purest = Purest()

    @property
    def at_worst(self) -> "Alkali":
        """The same with all that is weighed as pure as it may be."""
        most, stored = self.purest, self.masterbatch_strength
        return replace(
            self,
            naoh_purity=max(self.naoh_purity, most.naoh or ZERO),
            koh_purity=max(self.koh_purity, most.koh or ZERO),
            masterbatch_strength=stored and max(stored, most.masterbatch or ZERO),
        )


@dataclass(frozen=True, slots=True)
class Formula:
    """Lines and lye of one recipe version, and what is lost on the way to a bar.

    `cure_loss_share` is the share of the poured mass that dries off; `pot_loss_share` the share of
    the batter that stays in the pot.
    """

    lines: tuple[Line, ...]
    alkali: Alkali
    cure_loss_share: Decimal = ZERO
    pot_loss_share: Decimal = ZERO
    portions: tuple[Portion, ...] = ()


@dataclass(frozen=True, slots=True)
class Notice:
    """Something a maker should hear of that is not refused. `code` is stable, for programs."""

    code: str
    message: str
    field: str = ""
    details: Mapping[str, str] = dataclass_field(default_factory=dict)
