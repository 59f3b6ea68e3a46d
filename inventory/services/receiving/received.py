"""What a delivery says, as it is written on the invoice, the packs and the certificates."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from inventory.domain.catalog.certificate import NOT_CERTIFIED, Certificate
from inventory.domain.receiving.landed_cost import Charge
from inventory.domain.stock.lots import LotState

#: The fault of an invoice of a supplier that came in before.
INVOICE_AGAIN = "invoice-again"


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderLineAt:
    """A line of a purchase order: the order's code and the line's position, from 1."""

    order: str
    position: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ReceivedLine:
    """One line of a delivery; it becomes one lot.

    Either `offer` (a code) and its number of `packs`, or `material` (a code) and what each pack
    holds as `written` ("1 gal", "35 lb", "12 each"). With both, `written` is what one pack of the
    offer really held. `price` is for the whole line (ten-thousandths); None takes the offer's.
    What the lot's own certificate states goes before the values of offer and material.
    `state` is asked for, with a reason: in quarantine until it was checked, or blocked. What comes
    from a supplier whose goods are checked on arrival waits in quarantine in any case.
    `weight_ng` is only needed to spread a charge by weight over what is counted.
    """

    material: str = ""
    offer: str = ""
    packs: int = 1
    written: str = ""
    price: int | None = None
    order_line: OrderLineAt | None = None
    lot_code: str = ""
    supplier_lot: str = ""
    best_before: date | None = None
    state: LotState = LotState.RELEASED
    state_reason: str = ""
    certificate: Certificate = NOT_CERTIFIED
    weight_ng: int | None = None
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Received:
    """A delivery: who sent what, and what the invoice adds or takes beside its lines.

    `confirmed` holds the codes of faults that are meant so: `INVOICE_AGAIN` takes in another part
    of an invoice that is in the books, those of `UNUSUAL` what certificates state of it.
    """

    supplier: str
    received_on: date
    lines: Sequence[ReceivedLine]
    charges: Sequence[Charge] = ()
    invoice: str = ""
    note: str = ""
    confirmed: frozenset[str] = frozenset()
