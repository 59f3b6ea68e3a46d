"""The amount of a recipe's line in words, by its basis."""

from decimal import Decimal
from fractions import Fraction

from recipes.domain.formulas.formula import Basis, Stage
from studio.foundation.units.quantity import Quantity
from studio.foundation.units.registry import UNITS
from studio.foundation.units.writing import percent

BASES = {
    Basis.SHARE_OF_FATS: "% of the fats",
    Basis.OF_FATS: "% on top of the fats",
    Basis.OF_BATTER: "% of the whole",
    Basis.G_PER_KG_FATS: "g per kg of fats",
    Basis.PIECE_PER_FATS: "one piece for so many g of fats",
    Basis.FIXED: "g or pieces a batch",
    Basis.PER_BAR: "pieces or g a bar",
    Basis.OF_PORTION: "% of its portion",
    Basis.TSP_PER_LB_FATS: "tsp per lb of fats",
}
STAGES = {
    Stage.FATS: "with the fats",
    Stage.LYE: "in the lye water",
    Stage.TRACE: "at trace",
    Stage.PORTION: "in a color portion",
    Stage.TOP: "on top",
    Stage.PACK: "to pack the bars",
}
#: What an amount in percent is of.
SHARES = frozenset({Basis.SHARE_OF_FATS, Basis.OF_FATS, Basis.OF_BATTER, Basis.OF_PORTION})
PIECES = frozenset({Basis.FIXED, Basis.PER_BAR})


def write_amount(amount: Decimal, basis: Basis, *, counted: bool) -> str:
    """The amount as `read_amount` reads it."""
    if basis in SHARES:
        return percent(amount, places=4)
    unit = "g"
    if basis is Basis.TSP_PER_LB_FATS:
        unit = "tsp"
    elif counted and basis in PIECES:
        return f"{amount.normalize():f}"
    return str(Quantity(Fraction(amount), UNITS[unit]))


def said_amount(amount: Decimal, basis: Basis, *, counted: bool) -> str:
    """An amount with its basis in words ("3 % on top of the fats")."""
    text = write_amount(amount, basis, counted=counted)
    match basis:
        case Basis.SHARE_OF_FATS:
            return f"{text} of the fats"
        case Basis.OF_FATS | Basis.OF_BATTER | Basis.OF_PORTION:
            return f"{text}{BASES[basis].removeprefix('%')}"
        case Basis.G_PER_KG_FATS:
            return f"{text} per kg of fats"
        case Basis.PIECE_PER_FATS:
            return f"one piece for {text} of fats"
        case Basis.TSP_PER_LB_FATS:
            return f"{text} per lb of fats"
        case _:
            word = "" if not counted else " piece" if amount == 1 else " pieces"
            return f"{text}{word} a {'bar' if basis is Basis.PER_BAR else 'batch'}"
