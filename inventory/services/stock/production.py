"""Stock that comes into being: received lots, made lots, and cost added to a lot."""

import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from django.db import transaction
from django.utils import timezone

from inventory.domain.catalog.certificate import NOT_CERTIFIED, Certificate
from inventory.domain.stock.freshness import best_before
from inventory.domain.stock.holds import NewHold
from inventory.domain.stock.ledger import Change, Verb
from inventory.errors import MaterialRefusal
from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import Supplier
from inventory.models.stock.lots import Lot, LotLink
from inventory.services.stock.consumption import Taken
from inventory.services.stock.holds import begin, inherit, inherited
from inventory.services.stock.ledger import Origin, post
from inventory.services.stock.locks import lock_lots
from studio.work.numbering import next_codes

#: The note of entries whose cost comes from outside of the stock: the cost of conversion. The proof
#: of the books knows them by it; all other cost that a batch adds was consumed by it.
CONVERSION = "labor and overhead"


@dataclass(frozen=True, slots=True, kw_only=True)
class NewLot:
    """A lot to open: what it is, how much (stock units), what it cost (ten-thousandths).

    `made_of` says how much of which lots (by id, in their stock units) went into it: whatever a
    document consumed to produce the lot belongs here, or a recall would not find the lot; so does
    what was `strained_out` again. `steam_ng` is the water that left it meanwhile. `holds` are those
    of its own; it takes over what holds the lots that went into it.
    """

    material: Material
    amount: int
    cost: int
    received_on: date
    code: str = ""
    supplier: Supplier | None = None
    supplier_lot: str = ""
    best_before: date | None = None
    holds: Sequence[NewHold] = ()
    certificate: Certificate = NOT_CERTIFIED
    note: str = ""
    made_of: Mapping[int, int] = field(default_factory=dict)
    strained_out: Mapping[int, int] = field(default_factory=dict)
    steam_ng: int = 0

    @property
    def went_in(self) -> tuple[int, ...]:
        """The lots (ids) that it has touched, those strained out among them."""
        return (*self.made_of, *self.strained_out)


@transaction.atomic
def open_lots(new: list[NewLot], *, verb: Verb, origin: Origin) -> list[Lot]:
    """Open lots and enter what they hold, under `verb` (receive or produce). In the order given.

    Lots without a code get the studio's next ones; without a best before, the material's shelf
    life decides. Each comes in on its own day of receipt. Raises MaterialRefusal for an amount that
    is not above zero, DayRefusal for a day to come.
    """
    for index, item in enumerate(new):
        if item.amount <= 0:
            raise MaterialRefusal("A lot must hold more than nothing.", field=f"lines.{index}")
    unnamed = sum(1 for item in new if not item.code)
    codes = iter(next_codes("L", unnamed) if unnamed else [])
    lots = [_described(item, item.code or next(codes)) for item in new]
    held = inherited({parent for item in new for parent in item.went_in})
    begin(
        [
            (lot, [*item.holds, *(each for parent in item.went_in for each in held[parent])])
            for lot, item in zip(lots, new, strict=True)
        ],
        by=origin.by,
    )
    for day in sorted({item.received_on for item in new}):
        changes = [
            (lot.pk, Change(verb, on_hand=item.amount, cost=item.cost))
            for lot, item in zip(lots, new, strict=True)
            if item.received_on == day
        ]
        post(changes, lots={lot.pk: lot for lot in lots}, origin=replace(origin, on=day))
    parts = {lot.pk: item for lot, item in zip(lots, new, strict=True)}
    _link({pk: item.made_of for pk, item in parts.items()}, origin.reference)
    _link({pk: item.strained_out for pk, item in parts.items()}, origin.reference, stays=False)
    return lots


@transaction.atomic
def add_cost(lot_id: int, cost: int, *, origin: Origin) -> uuid.UUID:
    """Add cost (conversion, packaging) to a lot without moving any of it. Raises LedgerRefusal."""
    lots = lock_lots([lot_id])
    return post([(lot_id, Change(Verb.ADD_COST, cost=cost))], lots=lots, origin=origin)


@transaction.atomic
def add_parts(lot_id: int, made_of: Mapping[int, int], *, origin: Origin) -> None:
    """Keep that more went into a lot that stands already, such as packaging; lot id -> amount.

    The amounts were consumed by the same document; their cost is added by `add_cost`.
    """
    _link({lot_id: made_of}, origin.reference)
    inherit(lot_id, made_of, on=timezone.localdate(), by=origin.by)


def parts_of(taken: Iterable[Taken]) -> dict[int, int]:
    """What was taken, as the `made_of` of the one lot it all went into."""
    parts: dict[int, int] = {}
    for take in taken:
        parts[take.lot.pk] = parts.get(take.lot.pk, 0) + take.amount
    return parts


def _link(parts: Mapping[int, Mapping[int, int]], reference: str, *, stays: bool = True) -> None:
    links = [
        LotLink(parent_id=parent, child_id=child, amount=amount, reference=reference, stays=stays)
        for child, made_of in parts.items()
        for parent, amount in made_of.items()
    ]
    if links:
        LotLink.objects.bulk_create(links)


def _described(item: NewLot, code: str) -> Lot:
    lot = Lot(
        code=code,
        material=item.material,
        supplier=item.supplier,
        supplier_lot=item.supplier_lot,
        received_on=item.received_on,
        best_before=best_before(
            received_on=item.received_on,
            shelf_life_days=item.material.shelf_life_days,
            stated=item.best_before,
        ),
        note=item.note,
        received_amount=item.amount,
        steam=item.steam_ng,
    )
    lot.certificate = item.certificate
    return lot
