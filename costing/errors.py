"""Refusals of costing: why a cost or a price can't be told."""

from studio.foundation.errors import InvalidInput, Kind, Refusal, StateConflict


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


class TierRefusal(InvalidInput):
    """A step of the price ladder cannot be as given: its margins, its ending or its tax."""

    code = "tier-refused"
    title = "The tier cannot be kept as given"


class LadderThere(StateConflict):
    """A starting ladder is for a studio that has no tiers yet: add or change single ones."""

    code = "ladder-there"
    title = "There is a price ladder already"


class PriceRefusal(InvalidInput):
    """A price list must make sense: whole coins, and never dearer for more or further down."""

    code = "price-refused"
    title = "The prices cannot be kept as given"


class PriceTaken(StateConflict):
    """That price starts on that day already, or has been in force: set a new one from a day on."""

    code = "price-taken"
    title = "That price stands already"


class PriceUnderFloor(StateConflict):
    """A price is under its floor. An owner may keep it all the same by stating the reason."""

    code = "price-under-floor"
    title = "The price is under its floor"


class BreakEvenRefusal(Refusal):
    """No number of bars covers these costs: each bar must bring more than it costs."""

    code = "no-break-even"
    title = "There is no break-even point"


class CustomerRefusal(InvalidInput):
    """A customer cannot be as given: a code that is taken, an unknown tier, a discount of all."""

    code = "customer-refused"
    title = "The customer cannot be kept as given"


class QuoteRefusal(InvalidInput):
    """A quote cannot be as given: products, quantities, prices, days, discount or tax."""

    code = "quote-refused"
    title = "The quote cannot be kept as given"


class QuoteSettled(StateConflict):
    """A quote changes only as a draft, and is answered once: revise it to offer something else."""

    code = "quote-settled"
    title = "The quote's state does not allow that"


class QuoteExpired(StateConflict):
    """The day until which the quote was valid is over: revise it and send the new one."""

    code = "quote-expired"
    title = "The quote is not valid any more"


class QuoteUnderFloor(StateConflict):
    """Lines are under their floor price, or their floor is not known. An owner may send the quote
    all the same by stating the reason, which is kept with it."""

    code = "quote-under-floor"
    title = "The quote has prices under their floor"


class OverrideNotAllowed(Refusal):
    """Only an owner answers for prices under the floor, or whose floor is not known."""

    code = "override-not-allowed"
    kind = Kind.FORBIDDEN
    title = "Only an owner may sell under the floor"


class OrderRefusal(InvalidInput):
    """An order, or a step of it, is described in a way that cannot be."""

    code = "order-refused"
    title = "The order cannot be kept or changed as described"


class OrderUnderFloor(StateConflict):
    """Lines of an order without a quote are under their floor price, or their floor is not known.
    An owner may take it all the same by stating the reason, which is kept with it."""

    code = "order-under-floor"
    title = "The order has prices under their floor"


class OrderClosed(StateConflict):
    """All of the order has left, or its rest was called off; only returns are still booked."""

    code = "order-closed"
    title = "The order is closed"


class OrderNotHeld(StateConflict):
    """More is to leave than is held for the order: hold bars for it first, or ship a part."""

    code = "order-not-held"
    title = "Not all of that is held for the order"


class PackagingShort(StateConflict):
    """There is not enough packaging for the shipment."""

    code = "packaging-short"
    title = "There is not enough packaging"


class WhatIfRefusal(InvalidInput):
    """What is asked about cannot be: the change names nothing that is there, or makes no sense."""

    code = "what-if-refused"
    title = "That cannot be asked as it stands"


class BatchNotFinished(StateConflict):
    """A batch is held against its plan once its bars are released, and its cost is whole."""

    code = "batch-not-finished"
    title = "The batch is not finished"


class StandardNotKept(StateConflict):
    """A batch that was planned before standard costs were kept has none to be held against."""

    code = "standard-not-kept"
    title = "No standard cost was kept of that batch"


class StandardRefusal(InvalidInput):
    """A labor standard, fee, packaging set or product has amounts that cannot be."""

    code = "standard-refusal"
    title = "It cannot be kept as given"


class StandardTaken(StateConflict):
    """There is one from that day already: change it, or start on another day."""

    code = "standard-taken"
    title = "Another one starts on that day already"
