"""What a recall reaches, as pages tell it: who has some, what to set aside, what is reserved."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from inventory.domain.shipping.trace import CustomerShare, HeldFor, Shipped, TracedLot
from inventory.pages.words import document, state_words
from inventory.queries.shipping.contacts import Contact
from inventory.queries.shipping.recall import Affected
from studio.web.pages.places import page_address

#: So many lots stand on a page; the table that is taken away has all of them.
MOST_LOTS = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownContact:
    """How a customer is reached, with the customer's page, if it has one."""

    contact: Contact
    href: str

    @property
    def dialed(self) -> str:
        """The telephone number as a telephone takes it: digits, and a plus in front."""
        return "".join(sign for sign in self.contact.phone if sign.isdigit() or sign == "+")


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownCustomer:
    """A customer who has some, how to reach them, and what they have, shipment by shipment."""

    name: str
    contacts: Sequence[ShownContact]
    shipped: Sequence[Shipped]
    pieces: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownLot:
    """A lot that is reached: its state as a word and a mark, and what brought it with its page."""

    lot: TracedLot
    word: str
    kind: str
    document: str
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownHolder:
    """What of a lot is reserved, and for what."""

    held: HeldFor
    words: str
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """All that a recall reaches. `gone` are lots of which nothing is left; `more` stand on no
    page."""

    start: TracedLot
    customers: Sequence[ShownCustomer]
    here: Sequence[ShownLot]
    gone: Sequence[ShownLot]
    held: Sequence[ShownHolder]
    lots: int
    with_stock: int
    more: int

    @property
    def pieces(self) -> int:
        """What customers have in all, in pieces."""
        return sum(each.pieces for each in self.customers)


def show_reach(affected: Affected, contacts: Mapping[str, Contact]) -> Reach:
    """What a lot's recall reaches; `contacts` are by the codes of shipments."""
    lots = affected.trace.lots
    here, gone = [lot for lot in lots if lot.on_hand], [lot for lot in lots if not lot.on_hand]
    shown = here[:MOST_LOTS], gone[: max(MOST_LOTS - len(here), 0)]
    return Reach(
        start=affected.trace.start,
        customers=[_customer(share, contacts) for share in affected.customers],
        here=[_lot(lot) for lot in shown[0]],
        gone=[_lot(lot) for lot in shown[1]],
        held=[ShownHolder(held=one, **_document(one.holder)) for one in affected.held],
        lots=len(lots),
        with_stock=len(here),
        more=len(lots) - len(shown[0]) - len(shown[1]),
    )


def _customer(share: CustomerShare, contacts: Mapping[str, Contact]) -> ShownCustomer:
    found = dict.fromkeys(contacts.get(one.shipment) for one in share.shipped)
    return ShownCustomer(
        name=share.customer,
        contacts=[
            ShownContact(contact=each, href=page_address("customer-page", each.customer))
            for each in found
            if each is not None
        ],
        shipped=share.shipped,
        pieces=sum(one.amount for one in share.shipped if one.counted),
    )


def _lot(lot: TracedLot) -> ShownLot:
    word, kind = state_words(lot.state, on_hand=lot.on_hand)
    words = _document(lot.document)
    return ShownLot(lot=lot, word=word, kind=kind, document=words["words"], href=words["href"])


def _document(reference: str) -> dict[str, str]:
    words, href = document(reference)
    return {"words": words, "href": href}
