"""The laws of the stock ledger, as plain functions on integers.

A lot has three balances: on hand and reserved (in its material's stock unit: nanograms or
pieces) and cost (ten-thousandths of the currency). Each entry is three signed changes under a
verb. The laws: `0 <= reserved <= on hand`, `cost >= 0`, and an empty lot has no cost.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from studio.foundation.money import share


class Verb(StrEnum):
    """What an entry does; `RULES` says which signs each verb allows."""

    RECEIVE = "receive"
    PRODUCE = "produce"
    RESERVE = "reserve"
    RELEASE = "release"
    CONSUME = "consume"
    SHIP = "ship"
    RETURN = "return"
    COUNT = "count"
    SPOIL = "spoil"
    ADD_COST = "add_cost"


#: What these enter is new: the lot opens with it.
OPENING = frozenset({Verb.RECEIVE, Verb.PRODUCE})


@dataclass(frozen=True, slots=True)
class Balance:
    """What a lot holds: stock units on hand and reserved, cost in ten-thousandths."""

    on_hand: int = 0
    reserved: int = 0
    cost: int = 0

    @property
    def available(self) -> int:
        """What may still be promised or used: on hand less reserved."""
        return self.on_hand - self.reserved


@dataclass(frozen=True, slots=True)
class Change:
    """One entry's signed changes of one lot."""

    verb: Verb
    on_hand: int = 0
    reserved: int = 0
    cost: int = 0

    @property
    def comes_back(self) -> bool:
        """Whether there is more of a lot that stood before: found in a count, or returned."""
        return self.on_hand > 0 and self.verb not in OPENING


def _comes_in(on_hand: int, reserved: int, cost: int) -> bool:
    return on_hand > 0 and reserved == 0 and cost >= 0


def _goes_out(on_hand: int, reserved: int, cost: int) -> bool:
    return on_hand < 0 and on_hand <= reserved <= 0 and cost <= 0


def _is_lost(on_hand: int, reserved: int, cost: int) -> bool:
    return on_hand < 0 and reserved == 0 and cost <= 0


#: Which signs of (on hand, reserved, cost) each verb allows.
RULES: Mapping[Verb, Callable[[int, int, int], bool]] = {
    Verb.RECEIVE: _comes_in,
    Verb.PRODUCE: _comes_in,
    Verb.RETURN: _comes_in,
    Verb.RESERVE: lambda on_hand, reserved, cost: on_hand == 0 < reserved and cost == 0,
    Verb.RELEASE: lambda on_hand, reserved, cost: reserved < 0 == on_hand and cost == 0,
    Verb.CONSUME: _goes_out,
    Verb.SHIP: _goes_out,
    Verb.COUNT: lambda *change: _comes_in(*change) or _is_lost(*change),
    Verb.SPOIL: _is_lost,
    Verb.ADD_COST: lambda on_hand, reserved, cost: on_hand == reserved == 0 != cost,
}


def breaks_verb(change: Change) -> bool:
    """Whether the signs of a change are not those its verb allows (`RULES`)."""
    return not RULES[change.verb](change.on_hand, change.reserved, change.cost)


def broken_laws(balance: Balance) -> list[str]:
    """The laws of the ledger that a balance breaks, in words; none for a sound one."""
    laws = {
        "reserved is not below zero": balance.reserved >= 0,
        "reserved is within what is on hand": balance.reserved <= balance.on_hand,
        "cost is not below zero": balance.cost >= 0,
        "an empty lot has no cost": balance.on_hand > 0 or balance.cost == 0,
    }
    return [law for law, is_kept in laws.items() if not is_kept]


def holds(balance: Balance) -> bool:
    """Whether a balance obeys the laws of the ledger."""
    return not broken_laws(balance)


def after(balance: Balance, change: Change) -> Balance:
    """The balance once a change is entered; whether it still `holds` is the caller's question."""
    return Balance(
        balance.on_hand + change.on_hand,
        balance.reserved + change.reserved,
        balance.cost + change.cost,
    )


def taking(verb: Verb, balance: Balance, amount: int, *, from_reserved: int = 0) -> Change:
    """A change that takes `amount` out of a lot with its share of the cost.

    The last take from a lot takes all of the cost that is left, so nothing is lost by rounding.
    `from_reserved` of it had been reserved.
    """
    cost = share(balance.cost, amount, balance.on_hand)
    return Change(verb, on_hand=-amount, reserved=-from_reserved, cost=-cost)


def counting(balance: Balance, found: int) -> Change | None:
    """The change that brings a lot to what was found; None when nothing differs.

    A loss takes its share of the cost with it; a find comes in at the lot's own unit cost, so
    that a miscount and its correction cancel. A lot that was empty gains at no cost.
    """
    difference = found - balance.on_hand
    if difference == 0:
        return None
    if difference < 0:
        return taking(Verb.COUNT, balance, -difference)
    gain = balance.cost * difference // balance.on_hand if balance.on_hand else 0
    return Change(Verb.COUNT, on_hand=difference, cost=gain)
