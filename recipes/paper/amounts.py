"""Amounts as they are read at the bench: grams as the scale shows them, ounces beside."""

from fractions import Fraction

from recipes.domain.scales import OnScale
from studio.foundation.units import writing
from studio.foundation.units.conversion import round_half_even
from studio.foundation.units.writing import grams

OUNCE_NG = 28_349_523_125
NG_PER_MG = 10**6


def amount_text(amount: int, *, counted: bool) -> str:
    """Stock units as text: "1250.5 g" or "8 pieces"."""
    if counted:
        return writing.how_many(amount, "piece")
    return grams(amount)


def scale_text(how: OnScale | None) -> str:
    """On which scale something is weighed: "on Bench scale, 0.1 g"; "" where none is kept, and for
    pieces.
    """
    if how is None or not how.name:
        return ""
    goes = f", in {how.goes} goes" if how.goes > 1 else ""
    return f"on {how.name}, {step_text(how.step_ng)}{goes}"


def step_text(step_ng: int) -> str:
    """The step of a scale in the unit in which it is a round one: "0.1 g", "0.05 oz"."""
    ounces = Fraction(step_ng, OUNCE_NG).limit_denominator(1000)
    in_ounces = round_half_even(ounces * OUNCE_NG) == step_ng and step_ng % NG_PER_MG
    return f"{float(ounces):g} oz" if in_ounces else grams(step_ng)


def ounces_text(mass_ng: int) -> str:
    """A mass in pounds and ounces to a hundredth ounce: to read beside grams, not to weigh by."""
    hundredths = (mass_ng * 200 + OUNCE_NG) // (2 * OUNCE_NG)
    pounds, rest = divmod(hundredths, 1600)
    ounces = f"{rest // 100}.{rest % 100:02d} oz"
    return f"{pounds} lb {ounces}" if pounds else ounces
