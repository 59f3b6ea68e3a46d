"""Refusals of costing: why a cost or a price can't be told."""

from studio.errors import InvalidInput, Kind, Refusal, StateConflict


class RateMissing(Refusal):
    """No rate of a kind was in force on the day asked for."""

    code = "rate-missing"
    kind = Kind.CONFLICT
    title = "A rate is missing for that day"


class RateRefusal(InvalidInput):
    """A rate is below zero, or more than can be kept."""

    code = "rate-refusal"
    title = "The rate cannot be kept as given"


class RateTaken(StateConflict):
    """There is a rate of that kind from that day already: change it, or start on another day."""

    code = "rate-taken"
    title = "A rate of that kind starts on that day already"


class CostNotKnown(Refusal):
    """A cost per bar can't be worked out from what was given."""

    code = "cost-not-known"
    title = "The cost cannot be worked out"


class BatchNotMade(StateConflict):
    """A batch that is not poured has cost nothing yet: ask for the cost of the plan instead."""

    code = "batch-not-made"
    title = "The batch has not been made"


class AlreadyCapitalized(StateConflict):
    """Labor and overhead of a batch are put on what it made once, and never again."""

    code = "already-capitalized"
    title = "Labor and overhead are in the cost of that batch already"


class PriceNotPossible(Refusal):
    """No price gives the margin or markup asked for."""

    code = "price-not-possible"
    title = "No such price is possible"
