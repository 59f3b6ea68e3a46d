"""Kinds of material, and the ranges within which what is stated of materials can be true.

The ranges hold for materials, offers, lots and recipes alike. They catch slips (a value in another
unit, a percentage written as 97), not unusual materials: each is wider than what published
standards know.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum

from studio.foundation.errors import Faults
from studio.foundation.units.conversion import DENSEST_G_ML


class MaterialKind(StrEnum):
    """The part a material plays in the studio; recipes and projections decide by it."""

    FAT = "fat"
    ALKALI = "alkali"
    LIQUID = "liquid"
    ACID = "acid"
    FRAGRANCE = "fragrance"
    COLORANT = "colorant"
    ADDITIVE = "additive"
    PACKAGING = "packaging"
    INTERMEDIATE = "intermediate"
    BATTER = "batter"
    BAR = "bar"


#: Made in the studio and never bought: no offers, no low-stock alert by default.
MADE_HERE = frozenset({MaterialKind.INTERMEDIATE, MaterialKind.BATTER, MaterialKind.BAR})


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """From `low` to `high`, both included unless `above_low`; `words` say unit and usual form."""

    low: Decimal
    high: Decimal
    words: str
    above_low: bool = False

    @property
    def told(self) -> str:
        """The range in words, without its unit."""
        return f"{'above' if self.above_low else 'from'} {self.low} to {self.high}"

    def holds(self, value: Decimal) -> bool:
        """Whether a value is within; never for NaN and infinities."""
        if not value.is_finite() or value > self.high:
            return False
        return value > self.low if self.above_low else value >= self.low


def _share(words: str, *, above_low: bool = False) -> Range:
    return Range(low=Decimal(0), high=Decimal(1), words=words, above_low=above_low)


_SAPONIFICATION = Range(low=Decimal(50), high=Decimal(400), words="mg KOH per g (not g NaOH per g)")

#: Field -> range. Saponification values run from waxes to medium-chain triglycerides; the codes
#: of edible oils (CXS 210, CXS 19, CXS 33) lie well inside. Iodine values end above fish oils.
#: Nothing kept by volume is lighter than fumed silica, about 0.04 g/mL (from memory). What is sold
#: as alkali is mostly alkali; the strength of a stored lye may be any share.
RANGES: Mapping[str, Range] = {
    "density_g_ml": Range(
        low=Decimal("0.02"), high=Decimal(DENSEST_G_ML), words="g/mL (water is about 1)"
    ),
    "density_temperature_c": Range(low=Decimal(-50), high=Decimal(300), words="degrees Celsius"),
    "sv_mg_koh_g": _SAPONIFICATION,
    "sv_low_mg_koh_g": _SAPONIFICATION,
    "sv_high_mg_koh_g": _SAPONIFICATION,
    "iodine_value": Range(low=Decimal(0), high=Decimal(300), words="g iodine per 100 g"),
    "water_share": _share("a share of the mass (0.87 for 87 %)"),
    "fat_share": _share("a share of the mass (0.036 for 3.6 %)"),
    "purity": _share("a share of the mass (0.99 for 99 %)", above_low=True),
    "alkali_purity": Range(
        low=Decimal("0.5"), high=Decimal(1), words="a share of the mass (0.99 for 99 %)"
    ),
    "ifra_category9_max": _share("a share of the product (0.05 for 5 %)"),
    "acid_naoh_g_per_g": Range(
        low=Decimal(0), high=Decimal(2), words="g NaOH per g of the acid", above_low=True
    ),
    "fatty_acid_share": _share("a share of all fatty acids (0.48 for 48 %)"),
}


def check_range(faults: Faults, name: str, value: Decimal | None, *, field: str = "") -> None:
    """Add a fault when a value, if there is one, is outside the range of that `name`."""
    limits = RANGES[name]
    if value is None or limits.holds(value):
        return
    faults.add(
        "out-of-range",
        f"{value} cannot be: it is {limits.told}, in {limits.words}.",
        field or name,
    )


def check_ranges(
    faults: Faults,
    values: object,
    names: Iterable[str],
    *,
    kind: MaterialKind | str | None = None,
    under: str = "",
) -> None:
    """`check_range` for several attributes of `values`; paths start with `under`.

    `kind` is the kind of material that they are stated of, where it is known.
    """
    for name in names:
        known = "alkali_purity" if name == "purity" and kind == MaterialKind.ALKALI else name
        field = f"{under}.{name}" if under else name
        check_range(faults, known, getattr(values, name), field=field)
