"""What a plain number of a frozen type is, said in its hint.

To a type checker they are the plain types; what answers with such a type reads the mark.
"""

from decimal import Decimal
from enum import StrEnum
from fractions import Fraction
from typing import Annotated


class Mark(StrEnum):
    """What a number is an amount of."""

    MONEY = "money"
    SHARE = "share"
    STOCK = "stock"
    GRAMS = "g"


#: Ten-thousandths of the studio currency; exact ones are rounded half to even when they are shown.
Money = Annotated[int, Mark.MONEY]
ExactMoney = Annotated[Fraction, Mark.MONEY]
#: A fraction of 1, shown to six places.
Share = Annotated[Decimal, Mark.SHARE]
#: Nanograms of what is weighed, pieces of what is counted.
Stock = Annotated[int, Mark.STOCK]
#: A mass in nanograms.
Grams = Annotated[int, Mark.GRAMS]
