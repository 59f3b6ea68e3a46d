"""What gives rise to an alert, and the rule for stock that expires before it is used.

Amounts are in the stock unit of the material: nanograms, or pieces where it is counted.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction

Figure = int | str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One cause that holds: what it is about, why, and the figures behind it.

    `subject` is the same as long as it is the same cause ("lot:L-00012"). `figures` holds amounts
    in the stock unit named by its "unit", days, and dates in ISO 8601.
    """

    subject: str
    name: str
    reason: str
    figures: Mapping[str, Figure] = field(default_factory=dict)
    material: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DatedLot:
    """A lot that must be used by a day; `reserved` is promised and so counts as used."""

    code: str
    on_hand: int
    reserved: int
    best_before: date


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedUse:
    """What is known about the use of a material.

    `required` holds days with the amounts that plans need on them; `used` is what was used in the
    past `used_days` days, as the rate of all other use.
    """

    required: Sequence[tuple[date, int]] = ()
    used: int = 0
    used_days: int = 1

    def until(self, day: date, *, on: date) -> int:
        """The use to be expected from `on` through `day`: the larger of what is planned by then
        and of the past rate going on (rounded down)."""
        planned = sum(amount for due, amount in self.required if due <= day)
        days = max(0, (day - on).days)
        return max(planned, int(Fraction(self.used * days, self.used_days)))


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOver:
    """A lot of which something will be left at its best before."""

    lot: DatedLot
    used: int
    left: int


def left_at_best_before(lots: Iterable[DatedLot], use: ExpectedUse, *, on: date) -> list[LeftOver]:
    """Which of a material's lots will not be used up by their best before, with how much is left.

    The rule: lots are used first expired, first out, and none after its best before. A lot then
    gets what is expected to be used by its day less what earlier lots already gave. What is
    reserved in a lot counts as used. Common practice (first expired, first out), no source.
    """
    found = []
    given = 0
    for lot in sorted(lots, key=lambda each: (each.best_before, each.code)):
        wanted = max(0, use.until(lot.best_before, on=on) - given)
        used = min(lot.on_hand, max(wanted, lot.reserved))
        given += used
        if used < lot.on_hand:
            found.append(LeftOver(lot=lot, used=used, left=lot.on_hand - used))
    return found
