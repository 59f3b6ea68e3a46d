"""How customers are reached about what left for them; who keeps customers makes that known."""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass

from studio.foundation.registry import Registry


@dataclass(frozen=True, slots=True, kw_only=True)
class Contact:
    """How one customer is reached; what is not kept is "". `customer` is the customer's code."""

    customer: str
    person: str = ""
    phone: str = ""
    email: str = ""
    address: str = ""

    @property
    def is_known(self) -> bool:
        """Whether there is any way to reach them."""
        return bool(self.phone or self.email or self.address)


@dataclass(frozen=True, slots=True)
class ContactBook:
    """Who keeps customers: `find` answers contacts by the codes of shipments, in one query."""

    name: str
    find: Callable[[Collection[str]], Mapping[str, Contact]]


CONTACTS = Registry[ContactBook]()


def contacts_of(shipments: Collection[str]) -> dict[str, Contact]:
    """The contacts of those to whom these shipments (codes) left, as far as they are kept.

    One query for each book, none without shipments.
    """
    found: dict[str, Contact] = {}
    for book in CONTACTS if shipments else ():
        found.update(book.find(shipments))
    return found
