"""Kinds of columns: how a person writes a value, how it is read, and how it is written back.

What `write` gives, `read` reads to the same value. `read` raises a Refusal that says what would be
right; it is never given an empty cell, which a column answers for itself.
"""

import re
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Protocol

from studio.foundation.errors import InvalidInput
from studio.foundation.money import amount_text, parse_money
from studio.foundation.tables.cells import Cell
from studio.foundation.units.conversion import STORED
from studio.foundation.units.grammar import parse_quantity
from studio.foundation.units.quantity import Quantity
from studio.foundation.units.registry import UNITS, Dimension
from studio.foundation.units.writing import format_amount

FIRST_DAY, LAST_DAY = date(1900, 1, 1), date(2199, 12, 31)
#: More than any column of the books holds.
_MOST_DIGITS = 18
_PLAIN_NUMBER = re.compile(r"(-?)([0-9]*)(?:\.([0-9]*))?", re.ASCII)
_CODE = re.compile(r"[-a-zA-Z0-9_]+", re.ASCII)
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", re.ASCII)
_YES, _NO = frozenset({"yes", "y", "true", "1"}), frozenset({"no", "n", "false", "0"})


class Kind(Protocol):
    """What a column may hold."""

    @property
    def words(self) -> str:
        """How it is written, for the explanation beside a template."""

    def read(self, text: str) -> Any:
        """The value that `text` says. Raises Refusal."""

    def write(self, value: Any) -> Cell:
        """The cell that says `value`."""


@dataclass(frozen=True, slots=True)
class Text:
    """Text as it stands, spaces included."""

    longest: int

    @property
    def words(self) -> str:
        return f"text of at most {self.longest} letters"

    def read(self, text: str) -> str:
        if len(text) > self.longest:
            raise InvalidInput(f"Write at most {self.longest} letters; here are {len(text)}.")
        return text

    def write(self, value: str) -> Cell:
        return value


@dataclass(frozen=True, slots=True)
class Code:
    """The code by which something is found."""

    longest: int = 40

    @property
    def words(self) -> str:
        return f"a code of letters, digits, - and _, at most {self.longest}"

    def read(self, text: str) -> str:
        code = text.strip()
        if not _CODE.fullmatch(code) or len(code) > self.longest:
            raise InvalidInput(
                f"A code has letters, digits, - and _, at most {self.longest}, and no spaces, "
                'for example "olive-oil".'
            )
        return code

    def write(self, value: str) -> Cell:
        return value


@dataclass(frozen=True, slots=True)
class Choice:
    """One of some words, in any case."""

    allowed: tuple[str, ...]

    @property
    def words(self) -> str:
        return f"one of: {', '.join(self.allowed)}"

    def read(self, text: str) -> str:
        asked = text.strip().casefold()
        for word in self.allowed:
            if word.casefold() == asked:
                return word
        raise InvalidInput(f"Write one of: {', '.join(self.allowed)}.")

    def write(self, value: str) -> Cell:
        return value


@dataclass(frozen=True, slots=True)
class YesNo:
    """Whether it is so."""

    @property
    def words(self) -> str:
        return "yes or no"

    def read(self, text: str) -> bool:
        word = text.strip().casefold()
        if word in _YES or word in _NO:
            return word in _YES
        raise InvalidInput("Write yes or no.")

    def write(self, value: bool) -> Cell:
        return "yes" if value else "no"


@dataclass(frozen=True, slots=True, kw_only=True)
class Number:
    """A decimal number of at most so many places. With `percent`, "5 %" is read as 0.05 too."""

    places: int
    unit: str
    below_zero: bool = False
    percent: bool = False

    @property
    def words(self) -> str:
        also = ', or with a percent sign ("5 %")' if self.percent else ""
        whole = "a whole number" if not self.places else "a number with a point before decimals"
        return f"{whole}, {self.unit}{also}"

    def read(self, text: str) -> Decimal:
        bare = text.strip()
        percent = self.percent and bare.endswith("%")
        number = _number(bare[:-1].rstrip() if percent else bare)
        if percent:
            number = number.scaleb(-2)
        if number < 0 and not self.below_zero:
            raise InvalidInput("It cannot be below zero: write it without the minus sign.")
        if -int(number.normalize().as_tuple().exponent) > self.places:
            kept = f"at most {self.places} decimals are" if self.places else "whole numbers are"
            raise InvalidInput(f"That is more exact than can be kept: {kept}.")
        return number

    def write(self, value: Decimal | int) -> Cell:
        return Decimal(value)


@dataclass(frozen=True, slots=True)
class Whole:
    """A whole number within bounds."""

    least: int
    most: int
    unit: str

    @property
    def words(self) -> str:
        return f"a whole number, {self.unit}"

    def read(self, text: str) -> int:
        number = _number(text.strip())
        if number != number.to_integral_value() or not self.least <= number <= self.most:
            raise InvalidInput(f"Write a whole number from {self.least} to {self.most}.")
        return int(number)

    def write(self, value: int) -> Cell:
        return Decimal(value)


@dataclass(frozen=True, slots=True)
class Money:
    """An amount of money with a point before its decimals, kept in ten-thousandths."""

    currency: str

    @property
    def words(self) -> str:
        return f"money in {self.currency} without its sign, a point before decimals (12.50)"

    def read(self, text: str) -> int:
        return parse_money(text)

    def write(self, value: int) -> Cell:
        return Decimal(amount_text(value, currency=self.currency))


@dataclass(frozen=True, slots=True)
class Amount:
    """A quantity with its unit as people write it; written back as text in one unit, exactly."""

    dimensions: tuple[Dimension, ...]
    example: str

    @property
    def words(self) -> str:
        return f'an amount with its unit, as in "{self.example}"'

    def read(self, text: str) -> Quantity:
        return parse_quantity(text, *self.dimensions)

    def write(self, value: str) -> Cell:
        return value


@dataclass(frozen=True, slots=True)
class Measure:
    """A quantity kept as an integer of base units (ng, nL, nm), written back in one `unit`."""

    unit: str
    example: str

    @property
    def words(self) -> str:
        return self._amount.words

    def read(self, text: str) -> int:
        return STORED[UNITS[self.unit].dimension](self._amount.read(text))

    def write(self, value: int) -> Cell:
        return f"{format_amount(value, self.unit)} {self.unit}" if value else None

    @property
    def _amount(self) -> Amount:
        return Amount((UNITS[self.unit].dimension,), self.example)


@dataclass(frozen=True, slots=True)
class Day:
    """A day."""

    @property
    def words(self) -> str:
        return "a day: year-month-day (2026-03-31)"

    def read(self, text: str) -> date:
        bare = text.strip()
        try:
            day = date.fromisoformat(bare) if _DAY.fullmatch(bare) else None
        except ValueError:
            day = None
        if day is None:
            raise InvalidInput("Write the day as year-month-day, for example 2026-03-31.")
        if not FIRST_DAY <= day <= LAST_DAY:
            raise InvalidInput(f"A day is from {FIRST_DAY} to {LAST_DAY}.")
        return day

    def write(self, value: date) -> Cell:
        return value


def _number(text: str) -> Decimal:
    """A plain decimal: digits and a point, nothing else, so that 1,5 is never taken for 15."""
    match = _PLAIN_NUMBER.fullmatch(text)
    digits = (match[2] + (match[3] or "")) if match else ""
    if match is None or not digits:
        raise InvalidInput(
            "Write only the number, with a point before decimals and without thousands signs or "
            'a unit, for example "12.5".'
        )
    if len(digits) > 2 * _MOST_DIGITS or len(match[2].lstrip("0")) > _MOST_DIGITS:
        raise InvalidInput("That number is longer than can be kept.")
    return Decimal(text)
