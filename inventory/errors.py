"""Refusals of the inventory: what stock rules answer when something can't be done."""

from studio.foundation.errors import InvalidInput, Kind, Refusal, StateConflict


class ChargesNotAllocated(Refusal):
    """A delivery's charges can't be spread over its lines as asked."""

    code = "charges-not-allocated"
    title = "The charges cannot be spread over the lines"


class LotNotUsable(Refusal):
    """A lot the maker chose can't be used for what it was chosen for."""

    code = "lot-not-usable"
    kind = Kind.CONFLICT
    title = "A chosen lot cannot be used"


class LotHeld(StateConflict):
    """A lot is held for a cause that a bare release does not end: it has a way out of its own."""

    code = "lot-held"
    title = "That lot is held for a cause of its own"


class NotForYou(Refusal):
    """It is for another role to decide."""

    code = "not-for-you"
    kind = Kind.FORBIDDEN
    title = "Your role does not decide that"


class NotEnoughStock(Refusal):
    """Less is available than is needed."""

    code = "not-enough-stock"
    kind = Kind.CONFLICT
    title = "There is not enough stock"


class LedgerRefusal(Refusal):
    """A change would break the books: below zero, below what is reserved, or cost from nothing."""

    code = "ledger-refusal"
    kind = Kind.CONFLICT
    title = "The books do not allow that"


class DayRefusal(InvalidInput):
    """A day that cannot be: one to come or of ages ago, one before the lot came in, was held or was
    free, or one on which less stood in it than left.

    The fault names the lot. When a lot came in earlier than the books say, correct the day it came
    in, on the lot's page or by `lots/{code}/received-on/`, and enter it again.
    """

    code = "day-refused"
    title = "That cannot have happened on that day"


class ReservationClosed(StateConflict):
    """A reservation was already consumed, released or expired; it ends exactly once."""

    code = "reservation-closed"
    title = "That reservation is already closed"


class MaterialRefusal(InvalidInput):
    """A material, place, offer, order or delivery is described in a way that cannot be kept."""

    code = "material-refusal"
    title = "It cannot be kept as described"


class AlertClosed(StateConflict):
    """An alert whose cause is gone is closed; there is nothing left to acknowledge or to snooze."""

    code = "alert-closed"
    title = "That alert is already closed"


class RecallConflict(StateConflict):
    """A lot is recalled already, or a recall is lifted already; each happens once."""

    code = "recall-conflict"
    title = "That recall does not stand like this"


class ShipmentRefusal(InvalidInput):
    """A shipment or a return is described in a way that cannot have happened."""

    code = "shipment-refused"
    title = "That cannot be shipped or returned as described"


class SessionClosed(StateConflict):
    """A count session was posted or cancelled; it takes no finds any more."""

    code = "count-session-closed"
    title = "That count session is closed"


class SessionNotReady(StateConflict):
    """A count session cannot be posted yet: finds are missing, or stock moved since the count."""

    code = "count-session-not-ready"
    title = "That count session cannot be posted yet"
