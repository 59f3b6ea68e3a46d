"""Refusals of costing: why a cost or a price can't be told."""

from studio.errors import Kind, Refusal


class RateMissing(Refusal):
    """No rate of a kind was in force on the day asked for."""

    code = "rate-missing"
    kind = Kind.CONFLICT
    title = "A rate is missing for that day"


class CostNotKnown(Refusal):
    """A cost per bar can't be worked out from what was given."""

    code = "cost-not-known"
    title = "The cost cannot be worked out"


class PriceNotPossible(Refusal):
    """No price gives the margin or markup asked for."""

    code = "price-not-possible"
    title = "No such price is possible"
