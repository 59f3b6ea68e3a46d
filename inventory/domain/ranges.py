"""The ranges within which a stated value can be true, for materials, offers and lots alike.

They catch slips (a value in another unit, a percentage written as 97), not unusual materials:
each is wider than what published standards know.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from studio.errors import Faults


@dataclass(frozen=True, slots=True, kw_only=True)
class Range:
    """From `low` to `high`, both included unless `above_low`; `words` say unit and usual form."""

    low: Decimal
    high: Decimal
    words: str
    above_low: bool = False

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
RANGES: Mapping[str, Range] = {
    "density_g_ml": Range(
        low=Decimal(0), high=Decimal(20), words="g/mL (water is about 1)", above_low=True
    ),
    "density_temperature_c": Range(low=Decimal(-50), high=Decimal(300), words="degrees Celsius"),
    "sv_mg_koh_g": _SAPONIFICATION,
    "sv_low_mg_koh_g": _SAPONIFICATION,
    "sv_high_mg_koh_g": _SAPONIFICATION,
    "iodine_value": Range(low=Decimal(0), high=Decimal(300), words="g iodine per 100 g"),
    "water_share": _share("a share of the mass (0.87 for 87 %)"),
    "fat_share": _share("a share of the mass (0.036 for 3.6 %)"),
    "purity": _share("a share of the mass (0.99 for 99 %)", above_low=True),
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
    first = "above" if limits.above_low else "from"
    faults.add(
        "out-of-range",
        f"{value} cannot be: it is {first} {limits.low} to {limits.high}, in {limits.words}.",
        field or name,
    )


def check_ranges(faults: Faults, values: object, names: Iterable[str], *, under: str = "") -> None:
    """`check_range` for several attributes of `values`; paths start with `under`."""
    for name in names:
        check_range(faults, name, getattr(values, name), field=f"{under}.{name}" if under else name)
