"""The worst superfat that may be, and when somebody has to accept it by name.

Usual values are right on the average: of what no certificate states, a lot may lie at the end of
its range. A customary superfat of 5 % is below zero there as soon as the purity of its NaOH is not
known, so it is asked about once and not at every batch, which would be confirmed unread.
"""

from collections.abc import Iterable
from decimal import ROUND_FLOOR, Decimal

from inventory.domain.stock.leaves import Span
from recipes.domain.chemistry.lye import is_lye_heavy

#: Figures are accepted in steps of 0.1 %, so that the scale's last gram does not ask again.
STEP = Decimal("0.001")
#: Whoever accepts a figure lower than what is asked about by more than this was not shown it.
ROOM = Decimal("0.01")


def floored(worst: Decimal) -> Decimal:
    """The figure that is accepted for a superfat (a share): at most it, in steps of 0.1 %."""
    return worst.quantize(STEP, ROUND_FLOOR)


def needs_acceptance(worst: Decimal, accepted: Decimal | None) -> bool:
    """Whether somebody has to accept this worst superfat before it is made.

    `accepted` is the lowest figure that was accepted so far, None for none. Zero or more is never
    asked about, nor what is no worse than that figure.
    """
    return is_lye_heavy(worst) and not covers(accepted, worst)


def covers(figure: Decimal | None, worst: Decimal) -> bool:
    """Whether whoever accepts this figure accepts that superfat; None accepts nothing."""
    return figure is not None and floored(worst) >= floored(figure)


def is_blank(figure: Decimal | None, worst: Decimal) -> bool:
    """Whether a figure lies so far below that superfat that it was not accepted for it."""
    return figure is not None and figure < floored(worst) - ROOM


def unsure_of(
    alkalis: Iterable[tuple[str, Span]], fats: Iterable[tuple[str, Span]], *, carbonate: bool
) -> tuple[str, ...]:
    """What makes the worst superfat lower than the usual one, in words; empty where all is known.

    `alkalis` are names with the pure alkali in them, `fats` with their demand; `carbonate` says
    whether any is taken.
    """
    purer = _named(name for name, pure in alkalis if pure.high > pure.usual)
    lower = _named(name for name, demand in fats if demand.low < demand.usual)
    told = []
    if purer:
        told.append(f"{purer} without a certified purity may be purer than the recipe says")
    if lower:
        told.append(
            f"{lower} without a certified saponification value may take as little lye as the low"
            " end of the range"
        )
    if carbonate:
        told.append("carbonate counts wholly as alkali")
    return tuple(told)


def _named(names: Iterable[str]) -> str:
    found = list(dict.fromkeys(names))
    return " and ".join(part for part in (", ".join(found[:-1]), *found[-1:]) if part)
