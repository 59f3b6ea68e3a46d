"""What a question about costs may be about: what is offered on a day, and by whom."""

from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from inventory.queries.catalog.offers import current_offers

if TYPE_CHECKING:
    from inventory.models.catalog.suppliers import Offer

#: With more than this a list is no longer chosen from; the API takes any code.
MOST = 1_000


@dataclass(frozen=True, slots=True)
class Subjects:
    """Materials and offers by code, with their names."""

    materials: tuple[tuple[str, str], ...]
    offers: tuple[tuple[str, str], ...]


def subjects_on(on: date) -> Subjects:
    """What is offered on a day, by name. One query."""
    rows = (
        current_offers(on)
        .select_related("material", "supplier")
        .order_by("material__name", "supplier__name", "pack_written")[:MOST]
    )
    offers = list(rows)
    materials = {offer.material.code: offer.material.name for offer in offers}
    return Subjects(
        materials=tuple(materials.items()),
        offers=tuple((each.code, _name(each)) for each in offers),
    )


def _name(offer: "Offer") -> str:
    return f"{offer.material.name}, {offer.pack_written} of {offer.supplier.name}"
