"""Which materials some lots still hold something of."""

from collections.abc import Collection

from inventory.models.stock.lots import Lot


def materials_held_in(lots: Collection[int]) -> frozenset[int]:
    """The materials, by id, of which some of these lots is held. One query, none without lots."""
    if not lots:
        return frozenset()
    held = Lot.objects.filter(pk__in=lots, on_hand__gt=0).order_by()
    return frozenset(held.values_list("material", flat=True))
