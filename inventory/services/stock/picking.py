"""The one locked read behind reserving and consuming, and the words of what is short."""

from collections.abc import Iterable, Mapping
from datetime import date
from typing import TYPE_CHECKING

from inventory.domain.stock.holds import of_batch
from inventory.models.stock.lots import Lot
from inventory.queries.stock.candidates import Choices, Rebatch, candidates
from inventory.queries.stock.holds import unsafe_as_reserved
from studio.foundation.doers import doer
from studio.foundation.roles import may_decide

if TYPE_CHECKING:
    from django.contrib.auth.models import User

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


def rebatch_for(
    holder: str,
    by: "User | None",
    lots: Iterable[Lot] = (),
    *,
    reservation: int | None = None,
) -> Rebatch | None:
    """What a batch may choose of unsafe soap; None for a holder that is no batch.

    An owner may choose any of it, and anybody what of `lots` the batch's reservation (an id) took
    since it is unsafe: an owner chose that. Three queries where one of `lots` is blocked.
    """
    if not of_batch(holder):
        return None
    decided = unsafe_as_reserved(lots, reservation) if reservation is not None else frozenset()
    return Rebatch(by_owner=may_decide(by or doer()), decided=decided)
