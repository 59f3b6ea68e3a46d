"""The quantity itself: an exact amount of a unit, and its refusal."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Any, ClassVar, Self

from studio.foundation.errors import Fault, Refusal
from studio.foundation.units.registry import Dimension, Unit

MAX_DECIMALS = 12


class UnitRefusal(Refusal):
    """A quantity that cannot be read, or does not measure what is asked for."""

    code: ClassVar[str] = "quantity-refused"
    title: ClassVar[str] = "The quantity cannot be used as it stands"

    @classmethod
    def because(cls, code: str, message: str, **details: Any) -> Self:
        """The refusal with one fault whose own `code` says why."""
        return cls(faults=[Fault(code, message, "", details)])


@dataclass(frozen=True, slots=True)
class Quantity:
    """An exact amount of a unit. Its text is read back by `parse_quantity` to the same quantity."""

    amount: Fraction
    unit: Unit

    @property
    def dimension(self) -> Dimension:
        return self.unit.dimension

    @property
    def base(self) -> Fraction:
        """In base units (ng, nL, piece, nm; degrees Celsius for a temperature), not rounded."""
        return self.amount * self.unit.factor + self.unit.offset

    @property
    def amount_text(self) -> str:
        """The amount as an exact decimal, or as a whole and a fraction where none is exact."""
        return exact_text(self.amount)

    def __str__(self) -> str:
        return f"{self.amount_text} {self.unit.symbol}"


def exact_text(amount: Fraction) -> str:
    """`amount` as text without loss: "1.25"; "2 1/3" where 12 decimals do not hold it."""
    scaled = amount * 10**MAX_DECIMALS
    if scaled.denominator == 1:
        return decimal_text(scaled.numerator, MAX_DECIMALS)
    sign = "-" if amount < 0 else ""
    whole, rest = divmod(abs(amount.numerator), amount.denominator)
    return f"{sign}{f'{whole} ' if whole else ''}{rest}/{amount.denominator}"


def decimal_text(scaled: int, places: int) -> str:
    """`scaled` / 10**`places` as the shortest plain decimal text: (12500, 4) is "1.25"."""
    whole, rest = divmod(abs(scaled), 10**places)
    text = f"{whole}.{rest:0{places}d}".rstrip("0").rstrip(".") if places else str(whole)
    return f"-{text}" if scaled < 0 else text
