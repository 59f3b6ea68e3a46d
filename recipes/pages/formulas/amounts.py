"""The amount of a recipe's line as people write it, by its basis."""

import re
from decimal import Decimal
from fractions import Fraction

from recipes.domain.formulas.amount_words import PIECES, SHARES
from recipes.domain.formulas.formula import Basis
from studio.foundation.errors import InvalidInput
from studio.foundation.units.conversion import mass_ng
from studio.foundation.units.grammar import parse_quantity
from studio.foundation.units.quantity import UnitRefusal
from studio.foundation.units.registry import NG_PER_G, UNITS, Dimension
from studio.web.form_fields import parse_share

PLACES = 6
_BARE = re.compile(r"[0-9 ./]*[0-9]")


def read_amount(text: str, basis: Basis, *, counted: bool) -> Decimal:
    """The amount a line keeps: a share of 1, grams, pieces or US teaspoons.

    Raises InvalidInput and UnitRefusal, in words that say what would be right.
    """
    if basis in SHARES:
        amount = parse_share(text)
        if int(amount.normalize().as_tuple().exponent) < -PLACES:
            raise InvalidInput("Write at most 4 decimals of a percent.")
        return amount
    is_bare = _BARE.fullmatch(text.strip()) is not None
    if basis is Basis.TSP_PER_LB_FATS:
        volume = parse_quantity(f"{text} tsp" if is_bare else text, Dimension.VOLUME)
        return _rounded(volume.base / UNITS["tsp"].factor)
    if counted and basis in PIECES:
        return _rounded(parse_quantity(text, Dimension.COUNT).base)
    mass = parse_quantity(f"{text} g" if is_bare else text, Dimension.MASS)
    return _rounded(Fraction(mass_ng(mass), NG_PER_G))


def _rounded(amount: Fraction) -> Decimal:
    scaled = amount * 10**PLACES
    if abs(scaled) > 10**14:
        raise UnitRefusal("That is more than a line can hold.")
    return Decimal(round(scaled)).scaleb(-PLACES)
