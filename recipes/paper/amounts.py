"""Amounts as they are read at the bench: grams as the scale shows them, ounces beside."""

from studio.foundation.units import writing
from studio.foundation.units.writing import grams

OUNCE_NG = 28_349_523_125


def amount_text(amount: int, *, counted: bool) -> str:
    """Stock units as text: "1250.5 g" or "8 pieces"."""
    if counted:
        return writing.how_many(amount, "piece")
    return grams(amount)


def ounces_text(mass_ng: int) -> str:
    """A mass in pounds and ounces to a hundredth ounce: to read beside grams, not to weigh by."""
    hundredths = (mass_ng * 200 + OUNCE_NG) // (2 * OUNCE_NG)
    pounds, rest = divmod(hundredths, 1600)
    ounces = f"{rest // 100}.{rest % 100:02d} oz"
    return f"{pounds} lb {ounces}" if pounds else ounces
