"""Out of which lots each line of a batch may be weighed, the held ones first."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from inventory.domain.stock.lots import is_good
from inventory.queries.stock.free_lots import free_lots
from recipes.services.bench.as_made import held_beside
from recipes.services.bench.needs import Held, held_lots
from recipes.services.bench.sheets import Sheet


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenLot:
    """A lot that a line may take from; `open` is how much of it (stock units)."""

    code: str
    open: int
    is_held: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchLots:
    """By position, what each line may be taken from. `unusable` are held lots, blocked or past
    their best before, that must not be used."""

    by_position: Mapping[int, Sequence[OpenLot]]
    unusable: frozenset[str]

    def of(self, position: int) -> Sequence[OpenLot]:
        """The lots of one line."""
        return self.by_position.get(position, ())


def bench_lots(sheet: Sheet, *, on: date) -> BenchLots:
    """The lots of a reserved batch's lines, as its sheet stands. Two queries.

    What another line already took of a lot is not open; what the line itself took is.
    """
    held = held_lots(sheet.batch)
    unusable = _unusable(held, on)
    lines = [line.actual for line in sheet.lines]
    weighed = {line.row.position: line.weighings for line in lines if line.weighings}
    pool: dict[int, dict[str, OpenLot]] = defaultdict(dict)
    for pk, some in held_beside(held, weighed).items():
        for lot, amount in some:
            pool[pk][lot.code] = OpenLot(code=lot.code, open=amount, is_held=True)
    for free in free_lots({line.row.material_id for line in lines}, on=on):
        _add(pool[free.material], free.code, free.free, is_held=False)
    found: dict[int, Sequence[OpenLot]] = {}
    for line in lines:
        lots = dict(pool[line.row.material_id])
        for one in line.weighings:
            if one.lot is not None:
                _add(lots, one.lot.code, one.amount, is_held=True)
        found[line.row.position] = [lot for lot in lots.values() if lot.code not in unusable]
    return BenchLots(by_position=found, unusable=unusable)


def _add(lots: dict[str, OpenLot], code: str, amount: int, *, is_held: bool) -> None:
    there = lots.get(code)
    lots[code] = OpenLot(
        code=code,
        open=amount + (there.open if there else 0),
        is_held=is_held or (there is not None and there.is_held),
    )


def _unusable(held: Held, on: date) -> frozenset[str]:
    return frozenset(
        lot.code for some in held.values() for lot, _ in some if not is_good(lot, on=on)
    )
