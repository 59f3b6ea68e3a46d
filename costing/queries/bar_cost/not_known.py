"""Which lots cost more than the books know yet: not all labor or overhead of theirs is known."""

from dataclasses import dataclass
from functools import cached_property

from costing.models.bar_cost.conversion import ConversionEffort
from inventory.queries.shipping.trace import made_of_these
from inventory.queries.stock.on_hand import materials_held_in


@dataclass(frozen=True, kw_only=True)
class NotKnown:
    """Lots by id whose cost is not known wholly. Read once for an answer, and passed on in it."""

    lots: frozenset[int]

    @cached_property
    def materials(self) -> frozenset[int]:
        """The materials, by id, of which such a lot is held. One query, once, none without lots."""
        return materials_held_in(self.lots)


def lots_not_known() -> NotKnown:
    """The lots whose labor or overhead is not known, and all that was made of them.

    One query where all is known, else two.
    """
    open_efforts = ConversionEffort.objects.filter(
        cost__isnull=True, conversion__batch__bar_lot__isnull=False
    ).order_by()
    lots = set(open_efforts.values_list("conversion__batch__bar_lot", flat=True))
    return NotKnown(lots=frozenset(made_of_these(lots) if lots else ()))
