"""Money: whole ten-thousandths of the studio currency, never a float.

Text is read and printed by Babel's locale data. Sums are conserved: what is split adds up to what
was there, to the last ten-thousandth. Where one amount must be rounded it is rounded half to even.
"""

import copy
from collections.abc import Sequence
from decimal import ROUND_HALF_EVEN, Decimal, InvalidOperation
from fractions import Fraction
from typing import Any, ClassVar, Final, NoReturn, Self

from babel import Locale
from babel.numbers import (
    NumberFormatError,
    format_currency,
    format_decimal,
    get_currency_precision,
    get_decimal_symbol,
    get_group_symbol,
    is_currency,
    parse_decimal,
)

from studio.foundation.errors import Fault, Refusal

PER_UNIT: Final = 10_000
PLACES: Final = 4
# Money is kept in a signed 64-bit column.
MAX_MONEY: Final = 2**63 - 1
MAX_TEXT: Final = 40
_DIGITS: Final = frozenset("0123456789")
_MINUS_SIGNS: Final = ("-", "\N{MINUS SIGN}")
# What keyboards have for the group signs of some locales.
_TYPED_FOR: Final = {
    "\N{NARROW NO-BREAK SPACE}": (" ", "\N{NO-BREAK SPACE}"),
    "\N{NO-BREAK SPACE}": (" ", "\N{NARROW NO-BREAK SPACE}"),
    "\N{RIGHT SINGLE QUOTATION MARK}": ("'",),
}


class MoneyRefusal(Refusal):
    """An amount of money that cannot be read, kept or split."""

    code: ClassVar[str] = "money-refused"
    title: ClassVar[str] = "The amount of money cannot be used as it stands"

    @classmethod
    def because(cls, code: str, message: str, **details: Any) -> Self:
        """The refusal with one fault whose own `code` says why."""
        return cls(faults=[Fault(code, message, "", details)])


def parse_money(text: str, *, locale: str = "en_US", allow_negative: bool = False) -> int:
    """Ten-thousandths from what a person writes in `locale`: "1,234.50" in en_US is 12345000.

    Grouping must be the locale's own ("1,5" is refused in en_US, with what it may mean). Raises
    MoneyRefusal for anything but a plain decimal of at most 4 places within 64 bits, and for a
    negative one unless `allow_negative`.
    """
    if not isinstance(text, str):
        _refuse("not-text", 'Write the amount as text, for example "12.50".')
    if len(text) > MAX_TEXT:
        _refuse("too-long", f"An amount of money is at most {MAX_TEXT} characters long.")
    bare = text.strip()
    negative = bare.startswith(_MINUS_SIGNS)
    number = _read(bare[1:] if negative else bare, Locale.parse(locale))
    if number.as_tuple().exponent < -PLACES:  # type: ignore[operator]  # finite: an int
        _refuse("too-precise", f"Money has at most {PLACES} decimals.")
    value = int(number.scaleb(PLACES))
    if negative and value and not allow_negative:
        _refuse("negative", "This amount cannot be negative. Write it without the minus sign.")
    return _within(-value if negative else value)


def format_money(value: int, *, currency: str, locale: str = "en_US", exact: bool = False) -> str:
    """`value` (ten-thousandths) as people of `locale` write it: "$1,234.50".

    Rounded half to even to the currency's own digits; with `exact`, further decimals are shown
    where there are any ("$1.2345"), and no fewer than the currency's digits.
    """
    digits = currency_digits(currency)
    number = to_decimal(value)
    if not exact:
        number = number.quantize(Decimal(1).scaleb(-digits), ROUND_HALF_EVEN)
    return format_currency(number, currency, locale=locale, decimal_quantization=not exact)


def format_money_input(value: int, *, currency: str, locale: str = "en_US") -> str:
    """`value` as `parse_money` reads it back in `locale`, exact, without a currency sign."""
    # a copy, since the locale's own pattern (which knows its grouping) is shared
    pattern = copy.copy(Locale.parse(locale).decimal_formats[None])
    pattern.frac_prec = (currency_digits(currency), PLACES)
    return format_decimal(to_decimal(value), format=pattern, locale=locale)


def amount_text(value: int, *, currency: str) -> str:
    """`value` as an exact plain decimal for programs, with at least the currency's digits."""
    whole, rest = divmod(abs(value), PER_UNIT)
    places = f"{rest:0{PLACES}d}".rstrip("0").ljust(currency_digits(currency), "0")
    sign = "-" if value < 0 else ""
    return f"{sign}{whole}.{places}" if places else f"{sign}{whole}"


def currency_digits(currency: str) -> int:
    """How many decimals a currency is paid in (USD 2, JPY 0). MoneyRefusal if it is unknown."""
    if not is_currency(currency):
        _refuse("unknown-currency", f'"{currency}" is not the ISO 4217 code of a currency.')
    return min(get_currency_precision(currency), PLACES)


def to_decimal(value: int) -> Decimal:
    """Ten-thousandths as an exact Decimal of the currency's unit."""
    return Decimal(value).scaleb(-PLACES)


def from_decimal(number: Decimal) -> int:
    """Ten-thousandths from a Decimal of the currency's unit, rounded half to even.

    Raises MoneyRefusal for NaN, infinities and what exceeds 64 bits; TypeError for a float.
    """
    if not isinstance(number, Decimal):
        raise TypeError("money comes from a Decimal; a float is not exact")
    if not number.is_finite():
        _refuse("not-a-number", "An amount of money must be a finite number.")
    # checked by size first, so that 1E+999999 never becomes an integer
    if number.adjusted() > len(str(MAX_MONEY)):
        _refuse_too_large()
    return _within(round(Fraction(number) * PER_UNIT))


def split(total: int, weights: Sequence[int]) -> list[int]:
    """`total` in proportion to `weights`, adding up to `total` exactly.

    Largest remainder: everyone gets the whole part of the exact share, then the units left over go
    to the largest remainders, ties to the lower index. A negative total is split like the positive
    one. Raises MoneyRefusal when a weight is negative or none is above zero.
    """
    whole = sum(weights)
    if whole <= 0 or min(weights) < 0:
        _refuse("bad-weights", "A split needs weights of zero or more, one of them above zero.")
    if total < 0:
        return [-part for part in split(-total, weights)]
    parts, remainders = [], []
    for weight in weights:
        part, remainder = divmod(total * weight, whole)
        parts.append(part)
        remainders.append(remainder)
    left_over = total - sum(parts)
    # sorted() is stable, also in reverse: ties stay in the order of their index
    for index in sorted(range(len(parts)), key=remainders.__getitem__, reverse=True)[:left_over]:
        parts[index] += 1
    return parts


def share(cost: int, part: int, whole: int) -> int:
    """The cost of `part` out of a lot that holds `whole` and cost `cost`, rounded half to even.

    All of the lot takes all of its cost, so that a lot used up has no cost left. Raises
    MoneyRefusal unless 0 <= part <= whole and whole > 0.
    """
    if whole <= 0 or not 0 <= part <= whole:
        _refuse("bad-share", f"{part} of {whole} is no part of a lot.", part=part, whole=whole)
    return quotient(cost * part, whole)


def quotient(amount: int, divisor: int) -> int:
    """amount / divisor, rounded half to even; the divisor is above zero. Quicker than Fraction."""
    whole, rest = divmod(amount, divisor)
    return whole + (2 * rest > divisor or (2 * rest == divisor and whole % 2 == 1))


def _read(text: str, locale: Locale) -> Decimal:
    """The unsigned number that `text` says, Babel being strict about the grouping."""
    decimal, group = get_decimal_symbol(locale), get_group_symbol(locale)
    for typed in _TYPED_FOR.get(group, ()):
        text = text.replace(typed, group)
    # Decimal itself would take exponents, underscores, NaN and the digits of every script
    if not text or not {*text} <= _DIGITS | {decimal, group} or text.startswith(group):
        _refuse(
            "not-a-number",
            f'Write only the number, with "{decimal}" before the decimals, for example '
            f'"12{decimal}50".',
        )
    try:
        return parse_decimal(text, locale=locale, strict=True)
    except NumberFormatError as error:
        meant = [f'"{suggestion}"' for suggestion in error.suggestions or ()]
        hint = f" Did you mean {' or '.join(meant)}?" if meant else ""
        _refuse("not-a-number", f'"{text}" is not written as an amount of money.{hint}')
    except InvalidOperation:
        _refuse("not-a-number", f'"{text}" is not written as an amount of money.')


def _within(value: int) -> int:
    if abs(value) > MAX_MONEY:
        _refuse_too_large()
    return value


def _refuse_too_large() -> NoReturn:
    _refuse("too-large", f"That is more than can be kept: {MAX_MONEY // PER_UNIT} at most.")


def _refuse(code: str, message: str, **details: Any) -> NoReturn:
    raise MoneyRefusal.because(code, message, **details)
