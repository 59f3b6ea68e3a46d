"""Amounts, documents and states in the words of the shelf's pages."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal

from inventory.domain.stock.freshness import is_expired
from inventory.domain.stock.lots import LotState
from inventory.models.stock.lots import Lot
from studio.foundation.drawing.canvas import Measured
from studio.foundation.drawing.scales import Unit
from studio.foundation.units.conversion import stock_amount
from studio.foundation.units.grammar import parse_quantity
from studio.foundation.units.writing import how_many
from studio.web.pages.frame import preferences_of
from studio.web.pages.places import page_address
from studio.web.pages.writing import written_mass

#: How a page marks a word; "" is unmarked.
Mark = Literal["", "good", "soon", "danger"]
#: The page that shows a document, by the word before the colon of a reference; the first that is
#: there is used.
PAGES = {
    "delivery": ("delivery-page",),
    "batch": ("batch-page", "batch-sheet-page"),
    "count": ("count-page",),
    "order": ("order-page",),
    "shipment": ("shipment-page",),
    "recall": ("recall-page",),
}
#: Counts of many lots have codes of their own; a count of one lot bears the lot's code.
COUNTED_TOGETHER = "C-"
VERBS = {
    "receive": "received",
    "produce": "made",
    "return": "came back",
    "reserve": "reserved",
    "release": "reservation released",
    "consume": "used",
    "ship": "shipped",
    "spoil": "written off",
    "count": "counted",
    "add_cost": "cost added",
}
#: The largest unit of which an axis shows at least one.
_AXES = {"metric": (("kg", "kg"), ("g", "g")), "us": (("lb", "lb"), ("oz", "oz"))}


def units_of(user: Any) -> str:
    """The system of units that somebody reads first."""
    return str(preferences_of(user).units)


def written_stock(amount: int, *, counted: bool, units: str) -> str:
    """Stock in the reader's unit."""
    return how_many(amount, "piece") if counted else written_mass(amount, units)[0]


def measured(amount: int, *, counted: bool, units: str) -> Measured:
    """Stock as a chart takes it."""
    return Measured(value=amount, text=written_stock(amount, counted=counted, units=units))


def axis_unit(largest: int, *, counted: bool, units: str) -> Unit:
    """The unit of a chart's axis over stock of this size."""
    if counted:
        return Unit(per_unit=1, word="pieces")
    for name, word in _AXES.get(units, _AXES["metric"]):
        size = stock_amount(parse_quantity(f"1 {name}"), counted=False)
        if abs(largest) >= size:
            return Unit(per_unit=size, word=word)
    return Unit(per_unit=size, word=word)


def document(reference: str) -> tuple[str, str]:
    """The words of a reference such as "batch:B-00012", and the address of its page, if any."""
    kind, _, code = reference.partition(":")
    if not code:
        return reference, ""
    names = PAGES.get(kind, ())
    if kind == "count" and not code.startswith(COUNTED_TOGETHER):
        names = ("lot-page",)
    addresses = (page_address(name, code) for name in names)
    return f"{kind} {code}", next((address for address in addresses if address), "")


def lot_state(lot: Lot, *, on: date) -> tuple[str, Mark]:
    """The state of a lot on a day: its word, and how a page marks it."""
    if lot.state == LotState.RELEASED.value and is_expired(lot.best_before, on=on):
        return "past its best before", "soon"
    return state_words(lot.state, on_hand=lot.on_hand)


def state_words(state: str, *, on_hand: int) -> tuple[str, Mark]:
    """The same, whatever the day."""
    if state == LotState.BLOCKED.value:
        return "blocked", "danger"
    if state == LotState.QUARANTINE.value:
        return "in quarantine", "soon"
    return ("released", "good") if on_hand else ("used up", "")


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownLot:
    """A lot as a list draws it: what of it is free, and its state as a word and a mark."""

    lot: Lot
    free: int
    word: str
    kind: str


def shown_lots(lots: Iterable[Lot], *, on: date) -> list[ShownLot]:
    """Lots as a list draws them on a day."""
    shown = []
    for lot in lots:
        word, kind = lot_state(lot, on=on)
        shown.append(ShownLot(lot=lot, free=lot.on_hand - lot.reserved, word=word, kind=kind))
    return shown
