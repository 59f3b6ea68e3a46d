"""Row locks on lots, always taken in the order of their ids so that no two writers can deadlock."""

from collections.abc import Iterable

from django.db import transaction

from inventory.domain.stock.ledger import Balance
from inventory.models.stock.lots import Lot
from studio.foundation.errors import NotFound


def lock_lots(ids: Iterable[int]) -> dict[int, Lot]:
    """Lock these lots until the end of the transaction and return them by id. One query.

    Raises NotFound naming ids that do not exist, RuntimeError outside a transaction.
    """
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("lots are locked inside a transaction only")
    wanted = sorted(set(ids))
    lots = {
        lot.pk: lot for lot in Lot.objects.select_for_update().filter(pk__in=wanted).order_by("pk")
    }
    if missing := [pk for pk in wanted if pk not in lots]:
        raise NotFound(f"There is no lot with the id {missing[0]}.", field="lot")
    return lots


def balance_of(lot: Lot) -> Balance:
    """The balance that stands on a lot's row."""
    return Balance(on_hand=lot.on_hand, reserved=lot.reserved, cost=lot.cost)
