"""Color portions: a batter split in named parts, each with its own colorants.

The batter without colorants is split by the portions' shares; what a portion's colorants weigh
comes on top. Splits conserve the batter to the last nanogram.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from studio.foundation.errors import Faults, InvalidInput
from studio.foundation.money import split

SHARE_PLACES = 6
WHOLE = 10**SHARE_PLACES
MOST_PORTIONS = 12
LONGEST_NAME = 40


@dataclass(frozen=True, slots=True)
class Portion:
    """A part of the batter by name; `share` is a fraction of 1 of at most six places."""

    name: str
    share: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class PortionWeight:
    """What one portion weighs in ng: plain batter to ladle off, and the colorants for it."""

    name: str
    share: Decimal
    plain_ng: int
    colorants_ng: int

    @property
    def total_ng(self) -> int:
        """The colored portion."""
        return self.plain_ng + self.colorants_ng


def check_portions(
    portions: Sequence[Portion], named: Iterable[tuple[str, str]], faults: Faults
) -> None:
    """Add what is wrong with the portions, and with lines that name one that is not there.

    `named` are (path of a line, portion it goes into); an empty name is a fault only where there
    are portions to choose from.
    """
    known = {portion.name for portion in portions}
    for path, name in named:
        if name not in known and (name or portions):
            words = f"There is no portion '{name}'." if name else "Say into which portion it goes."
            faults.add("unknown-portion", f"{words} {_listed(known)}", f"{path}.portion")
    seen: set[str] = set()
    for index, portion in enumerate(portions):
        _check_portion(portion, seen, f"portions.{index}", faults)
        seen.add(portion.name)
    if len(portions) > MOST_PORTIONS:
        faults.add("too-many-portions", f"At most {MOST_PORTIONS} portions.", "portions")
    total = sum((portion.share for portion in portions), Decimal(0))
    if portions and total != 1:
        faults.add(
            "portions-not-whole",
            f"The portions must sum to 100 %; they sum to {(total * 100).normalize():f} %.",
            "portions",
            sum=str(total),
        )


def _check_portion(portion: Portion, seen: set[str], path: str, faults: Faults) -> None:
    name, share = portion.name, portion.share
    if not name.strip() or len(name) > LONGEST_NAME:
        faults.add("portion-name", f"A name of 1 to {LONGEST_NAME} characters.", f"{path}.name")
    elif name in seen:
        faults.add("portion-twice", f"There are two portions '{name}'.", f"{path}.name")
    if not (share.is_finite() and 0 < share <= 1):
        faults.add("portion-share", "A share above 0 and at most 100 %.", f"{path}.share")
    elif int(share.as_tuple().exponent) < -SHARE_PLACES:
        faults.add("too-precise", f"At most {SHARE_PLACES} places are kept.", f"{path}.share")


def _listed(known: set[str]) -> str:
    return f"The recipe has: {', '.join(sorted(known))}." if known else "The recipe has none."


def split_batter(
    portions: Sequence[Portion], *, batter_ng: int, colorants_ng: Mapping[str, int]
) -> tuple[PortionWeight, ...]:
    """The weight of each portion; their totals sum to `batter_ng` exactly.

    `batter_ng` is all that is poured, colorants of portions included; `colorants_ng` says how much
    of it each portion's own colorants weigh. The rest is split by the shares, largest remainder
    first. Raises InvalidInput when the colorants outweigh the batter.
    """
    if not portions:
        return ()
    plain = batter_ng - sum(colorants_ng.values())
    if plain < 0:
        raise InvalidInput("The colorants weigh more than the batter.", field="portions")
    parts = split(plain, [weight_of(portion.share) for portion in portions])
    return tuple(
        PortionWeight(
            name=portion.name,
            share=portion.share,
            plain_ng=part,
            colorants_ng=colorants_ng.get(portion.name, 0),
        )
        for portion, part in zip(portions, parts, strict=True)
    )


def weight_of(share: Decimal) -> int:
    """A share of at most six places as a whole number of millionths."""
    return int(share * WHOLE)
