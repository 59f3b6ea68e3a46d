"""Whether lye can be made as it is set: strengths, purities, and what a masterbatch can reach."""

import re
from decimal import Decimal

from inventory.domain.catalog.ranges import RANGES
from recipes.domain.chemistry import lye
from recipes.domain.formulas.formula import ONE, ZERO, Alkali
from studio.foundation.errors import Faults
from studio.foundation.units.writing import percent

GREATEST_SUPERFAT = Decimal("0.30")
WEAKEST_LYE = Decimal("0.15")
PURE = RANGES["alkali_purity"]
#: Names of the alkalis in lists of ingredients (INCI, from memory).
_NAMES = {"sodium hydroxide": "NaOH", "potassium hydroxide": "KOH"}
_BETWEEN_NAMES = re.compile(r"[,;/&+()]|\band\b")


def alkali_named(names: str) -> str:
    """The alkali among the names of a list of ingredients ("Aqua, Sodium Hydroxide"), or "".

    Both together are "NaOH and KOH", which no stored lye is kept as.
    """
    parts = (" ".join(part.split()) for part in _BETWEEN_NAMES.split(names.casefold()))
    return " and ".join(sorted({_NAMES[part] for part in parts if part in _NAMES}, reverse=True))


def check_alkali(alkali: Alkali, faults: Faults) -> None:
    """Add what is wrong with the settings of the lye; fields are below "alkali"."""
    check_range(alkali.superfat, ZERO, GREATEST_SUPERFAT, "alkali.superfat", faults)
    check_range(alkali.koh_share, ZERO, ONE, "alkali.koh_share", faults)
    usable = True
    for name in ("naoh_purity", "koh_purity"):
        usable &= check_range(getattr(alkali, name), PURE.low, PURE.high, f"alkali.{name}", faults)
    target = alkali.lye_concentration
    if not (target.is_finite() and WEAKEST_LYE < target <= lye.STRONGEST_LYE):
        faults.add(
            "lye-concentration-outside",
            f"A lye concentration must be above {percent(WEAKEST_LYE)} and at most"
            f" {percent(lye.STRONGEST_LYE)}: stronger lye does not stay dissolved.",
            "alkali.lye_concentration",
        )
        usable = False
    if alkali.masterbatch_strength is not None and usable:
        _check_masterbatch(alkali, alkali.masterbatch_strength, faults)


def _check_masterbatch(alkali: Alkali, strength: Decimal, faults: Faults) -> None:
    path = "alkali.masterbatch_strength"
    if not (strength.is_finite() and 0 < strength <= lye.STRONGEST_LYE):
        faults.add(
            "masterbatch-strength-outside",
            f"A masterbatch holds above 0 and at most {percent(lye.STRONGEST_LYE)} NaOH by mass.",
            path,
        )
        return
    if alkali.koh_share == ONE:
        faults.add(
            "masterbatch-without-naoh",
            "All the alkali is KOH, so a masterbatch of NaOH gives nothing.",
            path,
        )
        return
    reachable = _strongest_from_masterbatch(alkali, strength)
    if reachable < alkali.lye_concentration:
        faults.add(
            "masterbatch-too-weak",
            f"The masterbatch holds {percent(strength)} NaOH, so the lye reaches at most"
            f" {percent(reachable)}; the formula asks for {percent(alkali.lye_concentration)}."
            " Water can be added but not taken out: use a stronger masterbatch, dry alkali, or a"
            f" lye concentration of {percent(reachable)} or less.",
            path,
            reachable=str(reachable),
            target=str(alkali.lye_concentration),
        )


def _strongest_from_masterbatch(alkali: Alkali, strength: Decimal) -> Decimal:
    """Concentration of masterbatch and dry KOH with no water added."""
    pure = lye.pure_alkali(
        demand_koh=ONE, superfat=ZERO, acid_naoh=ZERO, koh_share=alkali.koh_share
    )
    return pure.mass / (pure.naoh / strength + pure.koh / alkali.koh_purity)


def check_range(value: Decimal, low: Decimal, high: Decimal, path: str, faults: Faults) -> bool:
    """Add a fault unless a share lies from `low` to `high`; say whether it does."""
    if value.is_finite() and low <= value <= high:
        return True
    faults.add("outside-range", f"Must be from {percent(low)} to {percent(high)}.", path)
    return False
