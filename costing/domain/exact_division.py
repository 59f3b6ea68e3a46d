"""Whole columns of amount x price / pack, exact: rounded half to even once, or with remainders.

The products do not fit into 64 bits (10 kg are 10**13 ng, times a price of 10**6), the quotients
do. So the quotient is guessed in floating point, which is at most one off, and the remainder of
that guess is worked out in 64 bits that wrap around: the true remainder is small, so what wraps is
right (arithmetic modulo 2**64). The guess is then mended by the remainder. What is too large for
that goes one by one through Python's integers, which have no bounds.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

Column = NDArray[np.int64]

#: Below it a quotient is guessed less than one off: 53 bits, of which three roundings lose two.
LARGEST_QUOTIENT = float(2**50)
#: Twice the remainder of a guess, which is less than two divisors, still fits into 64 bits.
LARGEST_DIVISOR = 2**60
#: Sums and products that a float says to be below it are right in 64 bits.
SAFE = float(2**62)
MAX = 2**63 - 1


def divided(amount: ArrayLike, price: ArrayLike, pack: ArrayLike) -> Column:
    """amount x price / pack in each place, rounded half to even.

    Amounts and prices are from 0 up, packs from 1 up, else ValueError. Raises OverflowError for a
    result beyond 64 bits.
    """
    quotient, remainder, packs = _worked_out(amount, price, pack)
    twice = 2 * np.minimum(remainder, packs - remainder)
    over_half = remainder > packs - remainder
    half = (twice == packs) & (packs % 2 == 0)
    up: Column = (over_half | (half & (quotient % 2 == 1))).astype(np.int64)
    return quotient + up


def divided_down(amount: ArrayLike, price: ArrayLike, pack: ArrayLike) -> tuple[Column, Column]:
    """amount x price // pack in each place, and what is left over. As `divided` else."""
    quotient, remainder, _ = _worked_out(amount, price, pack)
    return quotient, remainder


def summed(values: Column, starts: Column) -> Column:
    """The sums of the parts of a column that begin at `starts` (ascending, the last is its end).

    Raises OverflowError where a sum may not fit into 64 bits.
    """
    if values.size and np.abs(values).astype(np.float64).sum() >= SAFE:
        raise OverflowError("that is more than can be kept")
    running = np.concatenate(([0], np.cumsum(values, dtype=np.int64)))
    return running[starts[1:]] - running[starts[:-1]]


def added_up(columns: Sequence[Column]) -> Column:
    """Columns of amounts from 0 up, added in each place. Raises OverflowError as `times` does."""
    largest = sum(float(column.max()) for column in columns if column.size)
    if largest >= SAFE:
        raise OverflowError("that is more than can be kept")
    result: Column = np.sum(columns, axis=0, dtype=np.int64)
    return result


def times(left: Column, right: Column) -> Column:
    """left x right in each place. Raises OverflowError where that does not fit into 64 bits."""
    if left.size and np.abs(left.astype(np.float64) * right).max() >= SAFE:
        raise OverflowError("that is more than can be kept")
    return left * right


def _worked_out(
    amount: ArrayLike, price: ArrayLike, pack: ArrayLike
) -> tuple[Column, Column, Column]:
    """Quotients, remainders and packs."""
    amounts, prices, packs = np.broadcast_arrays(_column(amount), _column(price), _column(pack))
    if amounts.size and (packs.min() < 1 or amounts.min() < 0 or prices.min() < 0):
        raise ValueError("packs are from 1 up, amounts and prices from 0 up")
    guessed = amounts.astype(np.float64) * prices / packs
    too_large = (guessed >= LARGEST_QUOTIENT) | (packs > LARGEST_DIVISOR)
    if not too_large.any():
        return (*_mended(amounts, prices, packs, guessed), packs)
    small = np.where(too_large, 0, guessed)
    quotient, remainder = _mended(np.where(too_large, 0, amounts), prices, packs, small)
    for place in np.nonzero(too_large)[0]:
        quotient[place], remainder[place] = _one(
            int(amounts[place]), int(prices[place]), int(packs[place])
        )
    return quotient, remainder, packs


def _column(values: ArrayLike) -> Column:
    return np.atleast_1d(np.asarray(values, dtype=np.int64))


def _mended(
    amounts: Column, prices: Column, packs: Column, guessed: NDArray[np.float64]
) -> tuple[Column, Column]:
    quotient = guessed.astype(np.int64)
    remainder = amounts * prices - quotient * packs
    off = (remainder >= packs).astype(np.int64) - (remainder < 0)
    return quotient + off, remainder - off * packs


def _one(amount: int, price: int, pack: int) -> tuple[int, int]:
    quotient, remainder = divmod(amount * price, pack)
    if quotient >= MAX:
        raise OverflowError("that is more than can be kept")
    return quotient, remainder
