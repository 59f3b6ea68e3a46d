"""What was made of lots, any number of levels down."""

from collections.abc import Collection, Iterable

from inventory.models.stock.links import LotLink
from inventory.models.stock.lots import Lot


def made_of(lots: Iterable[int]) -> set[int]:
    """The lots and all that they went into, by id. One query for each level of what is made."""
    found = set(lots)
    below = set(found)
    while below:
        children = LotLink.objects.filter(parent__in=below).order_by()
        below = set(children.values_list("child", flat=True)) - found
        found |= below
    return found


def materials_held_in(lots: Collection[int]) -> frozenset[int]:
    """The materials, by id, of which some of these lots is held. One query, none without lots."""
    if not lots:
        return frozenset()
    held = Lot.objects.filter(pk__in=lots, on_hand__gt=0).order_by()
    return frozenset(held.values_list("material", flat=True))
