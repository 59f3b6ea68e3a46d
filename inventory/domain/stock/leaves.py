"""What is bought, or stands for itself: a lot or a material with the values that hold of it.

A value that the lot's own certificate states goes before the material's nominal one. What is not
known is said so (None), or is taken on the safe side, which is written beside it.
"""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from inventory.domain.catalog.alkalis import alkali_in, carbonate_as_naoh
from inventory.domain.catalog.allergens import Allergen
from inventory.domain.catalog.certificate import NOT_CERTIFIED, Certificate
from inventory.domain.catalog.materials import MaterialKind

ZERO, ONE = Decimal(0), Decimal(1)


@dataclass(frozen=True, slots=True)
class Span:
    """A value that is `usual` as a rule, and from `low` to `high`; a measured one is all three."""

    low: Decimal
    usual: Decimal
    high: Decimal

    @classmethod
    def exactly(cls, value: Decimal) -> "Span":
        """A value that was measured."""
        return cls(value, value, value)

    def __add__(self, other: "Span") -> "Span":
        return Span(self.low + other.low, self.usual + other.usual, self.high + other.high)

    def times(self, factor: Decimal) -> "Span":
        """The same of a part, or of more."""
        return Span(self.low * factor, self.usual * factor, self.high * factor)

    def over(self, amount: Decimal | int) -> "Span":
        """The same of each unit of an amount."""
        return Span(self.low / amount, self.usual / amount, self.high / amount)

    def __bool__(self) -> bool:
        return self.high > 0


NONE = Span.exactly(ZERO)


@dataclass(frozen=True, slots=True)
class Scent:
    """A material that a certified maximum of the finished product holds for; None: not known."""

    code: str
    name: str
    maximum: Decimal | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaf:
    """A bought lot, or a material of which no lot is known yet (`lot` is "").

    `alkali` is "" where it holds none, `purity` the pure alkali in it by mass. `demand` is in mg
    KOH per g: zero where nothing saponifies, None of a fat of which nobody stated it.
    `carbonate_naoh` is what its carbonate takes of acids, in g NaOH per g.
    """

    material: int = 0
    code: str
    name: str
    kind: MaterialKind
    inci_name: str = ""
    lot: str = ""
    alkali: str = ""
    purity: Span = NONE
    demand: Span | None = NONE
    water_share: Decimal = ZERO
    acid_naoh: Decimal = ZERO
    carbonate_naoh: Decimal = ZERO
    ifra_category9_max: Decimal | None = None
    allergens: tuple[Allergen, ...] | None = None

    @property
    def scent(self) -> Scent | None:
        """Itself, where a maximum in the finished product holds or has to be known."""
        if self.kind is MaterialKind.FRAGRANCE or self.ifra_category9_max is not None:
            return Scent(self.code, self.name, self.ifra_category9_max)
        return None


def leaf_of(material: Any, own: Certificate = NOT_CERTIFIED, *, lot: str = "") -> Leaf:
    """A material, or a lot of it with what is certified of that one.

    `material` is a row, or anything else that has a material's values.
    """
    kind, names = MaterialKind(material.kind), f"{material.inci_name}, {material.name}"
    alkali = alkali_in(material)
    purity = _purity(material, own, kind) if alkali else NONE
    return Leaf(
        material=material.pk,
        code=material.code,
        name=material.name,
        kind=kind,
        inci_name=material.inci_name,
        lot=lot,
        alkali=alkali,
        purity=purity,
        demand=_demand(material, own, kind),
        water_share=_water(material, own, purity, kind),
        acid_naoh=material.acid_naoh_g_per_g or ZERO,
        carbonate_naoh=carbonate_as_naoh(names),
        ifra_category9_max=_either(own.ifra_category9_max, material.ifra_category9_max),
        allergens=own.allergens,
    )


def judged_by(leaf: Leaf) -> tuple[object, ...]:
    """The values of a leaf that lye and limits are judged by: not its names, allergens or code."""
    return (
        leaf.scent is not None,
        leaf.alkali,
        leaf.purity,
        leaf.demand,
        leaf.water_share,
        leaf.acid_naoh,
        leaf.carbonate_naoh,
        leaf.ifra_category9_max,
    )


def _either(own: Decimal | None, nominal: Decimal | None) -> Decimal | None:
    return nominal if own is None else own


def _purity(material: Any, own: Certificate, kind: MaterialKind) -> Span:
    """What nobody stated counts as pure, and what is sold dry may be: that errs to more alkali."""
    if own.purity is not None:
        return Span.exactly(own.purity)
    if material.purity is None:
        return Span.exactly(ONE)
    nominal: Decimal = material.purity
    return Span(nominal, nominal, ONE if kind is MaterialKind.ALKALI else nominal)


def _demand(material: Any, own: Certificate, kind: MaterialKind) -> Span | None:
    if own.sv_mg_koh_g is not None:
        return Span.exactly(own.sv_mg_koh_g)
    return demand_span(
        material.sv_mg_koh_g, material.sv_low_mg_koh_g, material.sv_high_mg_koh_g, kind=kind
    )


def demand_span(
    usual: Decimal | None, low: Decimal | None, high: Decimal | None, *, kind: MaterialKind
) -> Span | None:
    """The demand of a material by its nominal value and range; None for a fat without a value."""
    if usual is None:
        return None if kind is MaterialKind.FAT else NONE
    # A value outside of its own range is worse than the range says, not better.
    return Span(min(usual, low or usual), usual, max(usual, high or usual))


def _water(material: Any, own: Certificate, purity: Span, kind: MaterialKind) -> Decimal:
    stated = _either(own.water_share, material.water_share)
    if stated is None:
        # A stored lye is alkali and water; the rest of a dry alkali is no water.
        return ONE - purity.usual if purity and kind is MaterialKind.INTERMEDIATE else ZERO
    return stated
