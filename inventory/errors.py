"""Refusals of the inventory: what stock rules answer when something can't be done."""

from studio.errors import Kind, Refusal


class ChargesNotAllocated(Refusal):
    """A delivery's charges can't be spread over its lines as asked."""

    code = "charges-not-allocated"
    title = "The charges cannot be spread over the lines"


class LotNotUsable(Refusal):
    """A lot the maker chose can't be used for what it was chosen for."""

    code = "lot-not-usable"
    kind = Kind.CONFLICT
    title = "A chosen lot cannot be used"


class NotEnoughStock(Refusal):
    """Less is available than is needed."""

    code = "not-enough-stock"
    kind = Kind.CONFLICT
    title = "There is not enough stock"
