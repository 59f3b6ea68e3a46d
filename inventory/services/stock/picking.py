"""The one locked read behind reserving and consuming: just the lots that are reached."""

from collections.abc import Iterable, Mapping
from datetime import date

from inventory.models.stock.lots import Lot
from inventory.queries.stock.candidates import Choices, candidates

#: How many lots of a material are looked at first; nearly always they cover the need.
NEAREST = 16


def lock_candidates(
    needs: Mapping[int, int],
    *,
    on: date,
    codes: Iterable[str] = (),
    ids: Iterable[int] = (),
    reach: int | None = None,
    oldest: bool = False,
) -> dict[int, Lot]:
    """`candidates`, locked in the order of their ids until the end of the transaction."""
    return candidates(needs, on=on, codes=codes, ids=ids, lock=True, reach=reach, oldest=oldest)


def codes_of(choices: Choices) -> list[str]:
    """The lot codes that a maker chose."""
    return [lot.code for some in choices.values() for lot in some]
