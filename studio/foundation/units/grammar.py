"""Reads what a maker writes: "1 lb 4 oz", "2 1/2 tsp", "1.25 kg", "12 each".

    quantity = part, {" ", part}        parts of one dimension, each unit smaller than the last
    part     = number, [" "], unit      a unit may be left out of a lone count
    number   = digits | [digits], ".", digits | [digits, " "], digits, "/", digits

The scanner goes through the text once, left to right; there is no expression, no exponent and no
prefix to combine, so its time is bounded by the length of the text, which is bounded too.
"""

import difflib
import itertools
from collections.abc import Sequence
from fractions import Fraction
from typing import Final, NoReturn

from studio.foundation.units.quantity import MAX_DECIMALS, Quantity, UnitRefusal
from studio.foundation.units.registry import (
    AMBIGUOUS,
    MAX_BASE,
    SPELLINGS,
    UNITS,
    Dimension,
    Unit,
    find_unit,
)

MAX_TEXT: Final = 64
_DIGITS: Final = frozenset("0123456789")
_ABSOLUTE_ZERO_C: Final = Fraction("-273.15")
_EXAMPLES: Final = {
    Dimension.MASS: '"1.25 kg" or "1 lb 4 oz"',
    Dimension.VOLUME: '"250 mL" or "2 1/2 tsp"',
    Dimension.COUNT: '"12 each"',
    Dimension.TEMPERATURE: '"38 degC" or "100 degF"',
    Dimension.LENGTH: '"25 cm" or "3 1/2 in"',
}


def parse_quantity(text: str, *dimensions: Dimension) -> Quantity:
    """The exact quantity that `text` says, of one of `dimensions` (of any, when none is given).

    "1 lb 4 oz" sums to 1.25 lb: the unit is that of the first part. A bare number is read as
    pieces where a count and nothing else is asked for. Only a temperature may be negative.
    Raises UnitRefusal, whose fault says what to write instead.
    """
    parts = _parts(_checked(text), dimensions)
    first_amount, first = parts[0]
    if dimensions and first.dimension not in dimensions:
        _refuse_dimension(first, dimensions)
    if len(parts) > 1:
        _check_compound(parts)
        first_amount = sum((a * u.factor for a, u in parts), Fraction(0)) / first.factor
    quantity = Quantity(first_amount, first)
    if first.dimension is Dimension.TEMPERATURE:
        _check_temperature(quantity)
    elif first_amount.numerator < 0:
        _refuse("negative", "A quantity cannot be negative. Write it without the minus sign.")
    # the same as base > MAX_BASE, without building a reduced fraction for it
    elif (
        first_amount.numerator * first.factor.numerator
        > MAX_BASE * first_amount.denominator * first.factor.denominator
    ):
        _refuse("too-large", f"That is more than can be kept: {_limit(first)} at most.")
    return quantity


def _refuse(code: str, message: str, **details: object) -> NoReturn:
    raise UnitRefusal.because(code, message, **details)


def _checked(text: str) -> str:
    """`text` without outer white space, once its kind, length and characters are known good."""
    if not isinstance(text, str):
        _refuse("not-text", 'Write the quantity as text, for example "1.25 kg".')
    if len(text) > MAX_TEXT:
        _refuse("too-long", f"A quantity is at most {MAX_TEXT} characters long.")
    text = text.strip(" \t\r\n")
    if not text:
        _refuse("empty", 'Write a number and a unit, for example "1.25 kg".')
    if not (text.isascii() and text.isprintable()):
        _refuse(
            "not-ascii",
            "Only plain letters, digits, spaces and . / are read in a quantity: "
            "write 1/2 for a half sign, degC for a degree sign.",
        )
    return text


def _parts(text: str, dimensions: Sequence[Dimension]) -> list[tuple[Fraction, Unit]]:
    negative = text[0] == "-"
    at = 1 if negative else 0
    parts: list[tuple[Fraction, Unit]] = []
    while not parts or at < len(text):
        amount, at = _number(text, at)
        end = _unit_end(text, at)
        spelling = text[at:end].strip(" ")
        if spelling:
            unit = find_unit(spelling)
            if unit is None:
                _refuse_unit(text, at, spelling, dimensions)
        else:
            unit = _understood_unit(text, parts, end, dimensions)
        parts.append((amount, unit))
        at = end
    if negative:
        parts = [(-amount, unit) for amount, unit in parts]
    return parts


def _number(text: str, at: int) -> tuple[Fraction, int]:
    """The number at `at` and the place after it."""
    end = _digits_end(text, at)
    if text[end : end + 1] == "/":
        return _simple_fraction(text, at, end, whole=0)
    if text[end : end + 1] == ".":
        tail = _digits_end(text, end + 1)
        places = tail - end - 1
        if not places or places > MAX_DECIMALS:
            _refuse_decimals(places)
        return Fraction(int(text[at:end] + text[end + 1 : tail]), 10**places), tail
    if end == at:
        _refuse_number(text, at)
    whole = int(text[at:end])
    start = end
    while text[start : start + 1] == " ":
        start += 1
    if start > end and text[start : start + 1] in _DIGITS:
        slash = _digits_end(text, start)
        if text[slash : slash + 1] == "/":
            return _simple_fraction(text, start, slash, whole=whole, mixed=True)
    return Fraction(whole), end


def _digits_end(text: str, at: int) -> int:
    while at < len(text) and text[at] in _DIGITS:
        at += 1
    return at


def _simple_fraction(
    text: str, at: int, slash: int, *, whole: int, mixed: bool = False
) -> tuple[Fraction, int]:
    end = _digits_end(text, slash + 1)
    above, below = text[at:slash], text[slash + 1 : end]
    if not above or not below or text[end : end + 1] in {".", "/"}:
        _refuse("bad-number", 'Write a fraction as whole numbers, for example "1/2" or "2 1/2".')
    if int(below) == 0:
        _refuse("bad-number", "A fraction cannot be of zero parts.")
    if mixed and int(above) >= int(below):
        _refuse("bad-number", f'After a whole number, "{above}/{below}" must be less than one.')
    return whole + Fraction(int(above), int(below)), end


def _unit_end(text: str, at: int) -> int:
    """Where the unit at `at` ends: before the next number, or at the end of the text."""
    while at < len(text) and text[at] not in _DIGITS:
        if text[at] == "." and text[at + 1 : at + 2] in _DIGITS and at + 1 < len(text):
            break
        at += 1
    return at


def _understood_unit(
    text: str, parts: Sequence[object], end: int, dimensions: Sequence[Dimension]
) -> Unit:
    """The unit of a number that has none: pieces, if a count and nothing else is asked for."""
    if parts or end < len(text):
        _refuse("bad-number", "Two numbers follow each other. Write a unit after each number.")
    if tuple(dimensions) != (Dimension.COUNT,):
        _refuse("no-unit", f"Write the unit too, for example {_example(dimensions)}.")
    return UNITS["each"]


def _check_compound(parts: Sequence[tuple[Fraction, Unit]]) -> None:
    for (amount, unit), (_, smaller) in itertools.pairwise(parts):
        if smaller.dimension is not unit.dimension:
            _refuse(
                "mixed-dimensions",
                f"{unit.symbol} is a {unit.dimension} and {smaller.symbol} a {smaller.dimension}: "
                "they cannot be added up.",
            )
        if unit.dimension is Dimension.TEMPERATURE:
            _refuse("unit-order", "A temperature has one number and one unit.")
        if smaller.factor >= unit.factor:
            _refuse(
                "unit-order",
                f'Write the larger unit first and each unit once, as in "1 lb 4 oz": '
                f"{smaller.symbol} cannot follow {unit.symbol}.",
            )
        if amount.denominator != 1:
            _refuse(
                "unit-order",
                f"Only the last part may have a fraction: write whole {unit.symbol} "
                f"before {smaller.symbol}.",
            )


def _check_temperature(quantity: Quantity) -> None:
    if quantity.base < _ABSOLUTE_ZERO_C:
        _refuse("too-cold", "Nothing is colder than -273.15 degC.")
    if quantity.base > MAX_BASE:
        _refuse("too-large", "That temperature is more than can be kept.")


def _refuse_decimals(places: int) -> NoReturn:
    if places:
        _refuse("too-precise", f"At most {MAX_DECIMALS} decimals are read.")
    _refuse("bad-number", 'Write a digit on the right of the point, for example "1.5".')


def _refuse_number(text: str, at: int) -> NoReturn:
    if text[at : at + 1] in {"+", "-"}:
        _refuse("bad-number", f'Write the number without "{text[at]}" before it.')
    _refuse("bad-number", f'Begin with a number, for example "1.25 kg": "{text}" does not.')


def _refuse_unit(text: str, at: int, spelling: str, dimensions: Sequence[Dimension]) -> NoReturn:
    if "," in spelling:
        _refuse_comma(text, at)
    if "-" in spelling:
        _refuse("bad-number", "A minus sign or a dash is not read inside a quantity.")
    if spelling[0] in "eE" and text[at + 1 : at + 2] in {*_DIGITS, "+"}:
        _refuse("bad-number", "Powers of ten are not read: write the number out, 1000 for 1e3.")
    if not any(map(str.isalpha, spelling)):
        _refuse(
            "bad-number", f'"{spelling}" is not read in a quantity: only numbers and units are.'
        )
    bare = spelling.replace(".", "")
    if bare in AMBIGUOUS:
        _refuse("ambiguous-unit", AMBIGUOUS[bare], unit=spelling)
    allowed = _allowed(dimensions)
    near = difflib.get_close_matches(
        spelling.lower(), [s for s, u in SPELLINGS.items() if u.symbol in allowed], n=3
    )
    close = list(dict.fromkeys(SPELLINGS[s].symbol for s in near))
    hint = f"Did you mean {' or '.join(close)}? " if close else ""
    _refuse(
        "unknown-unit",
        f'"{spelling}" is not a unit known here. {hint}Units that can be used: '
        f"{', '.join(allowed)}.",
        unit=spelling,
        allowed=allowed,
    )


def _refuse_comma(text: str, at: int) -> NoReturn:
    comma = text.index(",", at)
    start = at
    while start and text[start - 1] in _DIGITS:
        start -= 1
    end = _digits_end(text, comma + 1)
    before, after = text[start:comma], text[comma + 1 : end]
    if not (before.isdigit() and after):
        _refuse("comma", "A comma is not read in a quantity: leave it out.")
    choice = f"write {before}.{after}"
    if len(after) == 3:
        choice += f" if it parts the decimals, {before}{after} if it parts the thousands"
    _refuse(
        "comma",
        f'The decimal sign is a point, not a comma: for "{before},{after}" {choice}.',
    )


def _refuse_dimension(unit: Unit, dimensions: Sequence[Dimension]) -> NoReturn:
    hint = ""
    if unit.symbol == "oz" and Dimension.VOLUME in dimensions:
        hint = " For fluid ounces write fl oz."
    elif unit.symbol == "fl oz" and Dimension.MASS in dimensions:
        hint = " For ounces by weight write oz."
    wanted = " or a ".join(dimensions)
    _refuse(
        "wrong-dimension",
        f"A {wanted} is needed here, for example {_example(dimensions)}; "
        f"{unit.symbol} is a {unit.dimension}.{hint}",
        unit=unit.symbol,
        allowed=_allowed(dimensions),
    )


def _allowed(dimensions: Sequence[Dimension]) -> list[str]:
    return [u.symbol for u in UNITS.values() if not dimensions or u.dimension in dimensions]


def _example(dimensions: Sequence[Dimension]) -> str:
    return _EXAMPLES[dimensions[0] if dimensions else Dimension.MASS]


def _limit(unit: Unit) -> str:
    return f"{int(MAX_BASE / unit.factor)} {unit.symbol}"


_AMOUNT_CHARACTERS: Final = frozenset("0123456789./ -,+")


def quantity_from(amount: str | int, unit: str, *dimensions: Dimension) -> Quantity:
    """The exact quantity of `amount` (text or a whole number) in `unit`, as `parse_quantity` reads.

    A float is refused: most decimals have no exact float. Raises UnitRefusal.
    """
    if isinstance(amount, bool) or not isinstance(amount, str | int):
        raise UnitRefusal.because(
            "not-exact",
            'Write the amount as text ("1.25") or as a whole number: a number with a point is '
            "read as a float, which is not exact.",
        )
    if not isinstance(unit, str) or not unit.strip():
        raise UnitRefusal.because("no-unit", 'Write the unit as text, for example "kg".')
    if isinstance(amount, int):
        # checked by size first: Python refuses to write out very long integers
        if abs(amount) >= 10**MAX_TEXT:
            raise UnitRefusal.because("too-large", "That is more than can be kept.")
        amount = str(amount)
    if not {*amount} <= _AMOUNT_CHARACTERS:
        raise UnitRefusal.because(
            "bad-number", 'The amount is one number without a unit, for example "1.25".'
        )
    if any(map(str.isdigit, unit)):
        raise UnitRefusal.because("unknown-unit", "The unit is one unit without a number.")
    return parse_quantity(f"{amount} {unit}", *dimensions)
