"""Purchase orders: drafted, placed with one supplier, filled by deliveries, closed or cancelled."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db import transaction
from django.db.models import F

from inventory.domain.catalog.packs import MAX_PACKS, most
from inventory.errors import MaterialRefusal
from inventory.models.buying.orders import BuyPlan, PurchaseOrder, PurchaseOrderLine
from inventory.models.catalog.suppliers import Offer, Supplier
from inventory.services.days import take_day_outside
from studio.foundation.doers import By
from studio.foundation.errors import Faults, NotFound, StateConflict
from studio.foundation.local_words import exact_money
from studio.foundation.money import MAX_MONEY
from studio.work.cleaning import take_field_faults
from studio.work.numbering import next_code


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderedLine:
    """Packs of one offer; `price` is for all of them, the offer's own when it is None."""

    offer: str
    packs: int
    price: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Ordered:
    """An order to place; `expected_on` None means the longest lead time of its offers."""

    supplier: str
    ordered_on: date
    lines: Sequence[OrderedLine]
    expected_on: date | None = None
    note: str = ""


def place_order(ordered: Ordered, *, by: By = None) -> PurchaseOrder:
    """Place an order with one supplier. Five queries, however many lines.

    Raises MaterialRefusal with every fault: another supplier's offer, one that does not hold on
    the day, fewer packs than the supplier sells, less than his minimum order in all, an offer
    twice, dates reversed.
    """
    return _write(ordered, state=PurchaseOrder.State.PLACED, by=by)


def draft_order(ordered: Ordered, *, plan: BuyPlan | None = None, by: By = None) -> PurchaseOrder:
    """Write an order down without placing it: nothing is on order yet. As `place_order` else."""
    return _write(ordered, state=PurchaseOrder.State.DRAFT, plan=plan, by=by)


@transaction.atomic
def place_draft(code: str, *, on: date) -> PurchaseOrder:
    """Place a drafted order on a day: from now on its amounts are on order. Five queries.

    Its lines keep the prices they were drafted with. Raises NotFound, StateConflict unless it is a
    draft, MaterialRefusal when an offer no longer holds or the supplier is not bought from.
    """
    order = _lock(code, PurchaseOrder.State.DRAFT)
    faults = Faults()
    take_day_outside(faults, "An order", on)
    if not order.supplier.active:
        faults.add("supplier-inactive", f"{order.supplier.name} is not bought from.", "supplier")
    lines = list(order.lines.select_related("offer__supplier"))
    for index, line in enumerate(lines):
        if not line.offer.holds_on(on):
            faults.add(
                "offer-not-current",
                f"Offer {line.offer.code} does not hold on {on}.",
                f"lines.{index}.offer",
            )
    faults.raise_if_any(MaterialRefusal)
    order.state = PurchaseOrder.State.PLACED
    order.ordered_on = on
    order.expected_on = on + timedelta(days=max(line.offer.days_to_come for line in lines))
    order.revision += 1
    order.save(update_fields=["state", "ordered_on", "expected_on", "revision", "updated_at"])
    return order


@transaction.atomic
def _write(
    ordered: Ordered,
    *,
    state: PurchaseOrder.State,
    plan: BuyPlan | None = None,
    by: By = None,
) -> PurchaseOrder:
    faults = Faults()
    if state == PurchaseOrder.State.PLACED:
        take_day_outside(faults, "An order", ordered.ordered_on, "ordered_on")
    supplier = Supplier.objects.filter(code=ordered.supplier).first()
    if supplier is None:
        faults.add("not-found", f"There is no supplier {ordered.supplier}.", "supplier")
    elif not supplier.active:
        faults.add("supplier-inactive", f"{supplier.name} is not bought from.", "supplier")
    offers = {
        offer.code: offer
        for offer in Offer.objects.filter(
            code__in=[line.offer for line in ordered.lines]
        ).select_related("supplier", "material")
    }
    order = PurchaseOrder(
        supplier=supplier,
        state=state,
        ordered_on=ordered.ordered_on,
        note=ordered.note,
        plan=plan,
        by=by,
    )
    take_field_faults(faults, order, only=("note",))
    lines = _lines(faults, ordered, offers, order=order)
    if supplier is not None and not faults:
        _check_minimum(faults, supplier, sum(line.price for line in lines))
    order.expected_on = _expected_on(faults, ordered, offers)
    faults.raise_if_any(MaterialRefusal)
    order.code = next_code("P")
    order.save()
    PurchaseOrderLine.objects.bulk_create(lines)
    return order


@transaction.atomic
def close_order(code: str) -> PurchaseOrder:
    """Expect no more of an order. Raises NotFound, StateConflict unless it is placed."""
    order = _lock(code, PurchaseOrder.State.PLACED)
    return _end(order, PurchaseOrder.State.CLOSED)


@transaction.atomic
def cancel_order(code: str) -> PurchaseOrder:
    """Take an order back as if it never was. Raises NotFound, StateConflict.

    Only a draft, or a placed order of which nothing has come, can be cancelled; otherwise it is
    closed.
    """
    order = _lock(code, PurchaseOrder.State.PLACED, PurchaseOrder.State.DRAFT)
    if order.lines.filter(received__gt=0).exists():
        raise StateConflict(
            f"Part of order {code} has been delivered: close it instead of cancelling it."
        )
    return _end(order, PurchaseOrder.State.CANCELLED)


def lock_order_lines(ids: Sequence[int]) -> dict[int, PurchaseOrderLine]:
    """Lock the orders of these lines and return the lines by id. Two queries.

    The order's own row is the lock for all of its lines.
    """
    if not ids:
        return {}
    list(
        PurchaseOrder.objects.select_for_update()
        .filter(lines__in=sorted(set(ids)))
        .order_by("pk")
        .values_list("pk", flat=True)
    )
    lines = PurchaseOrderLine.objects.filter(pk__in=ids).select_related("order__supplier", "offer")
    return {line.pk: line for line in lines}


def book_received(received: Mapping[int, int], lines: Mapping[int, PurchaseOrderLine]) -> None:
    """Add what came (stock units by line id) to locked lines; an order with all in closes itself.

    Three queries. More than ordered may come: the line shows it.
    """
    if not received:
        return
    for pk, amount in received.items():
        lines[pk].received += amount
    PurchaseOrderLine.objects.bulk_update([lines[pk] for pk in received], ["received"])
    orders = {lines[pk].order_id: lines[pk].order for pk in received}
    still_open = set(
        PurchaseOrderLine.objects.filter(order__in=orders, received__lt=F("amount")).values_list(
            "order_id", flat=True
        )
    )
    for pk, order in orders.items():
        if pk not in still_open and order.state == PurchaseOrder.State.PLACED:
            _end(order, PurchaseOrder.State.CLOSED)


def _lines(
    faults: Faults, ordered: Ordered, offers: Mapping[str, Offer], *, order: PurchaseOrder
) -> list[PurchaseOrderLine]:
    """The rows of the lines that can be ordered; why the others can't goes to `faults`."""
    if not ordered.lines:
        faults.add("no-lines", "An order needs at least one line.", "lines")
    rows, seen = [], set()
    for index, line in enumerate(ordered.lines):
        offer = offers.get(line.offer)
        if offer is None:
            faults.add("not-found", f"There is no offer {line.offer}.", f"lines.{index}.offer")
            continue
        if line.offer in seen:
            faults.add(
                "offer-twice", f"Offer {line.offer} is ordered twice.", f"lines.{index}.offer"
            )
        seen.add(line.offer)
        _check_line(faults, line, offer, ordered, under=f"lines.{index}")
        rows.append(
            PurchaseOrderLine(
                order=order,
                position=index + 1,
                offer=offer,
                material=offer.material,
                packs=line.packs,
                amount=line.packs * offer.pack_amount,
                price=offer.price_of(line.packs) if line.price is None else line.price,
            )
        )
    return rows


def _check_line(
    faults: Faults, line: OrderedLine, offer: Offer, ordered: Ordered, *, under: str
) -> None:
    if offer.supplier.code != ordered.supplier:
        faults.add(
            "other-supplier",
            f"Offer {offer.code} is of {offer.supplier.name}; an order goes to one supplier.",
            f"{under}.offer",
        )
    if not offer.holds_on(ordered.ordered_on):
        faults.add(
            "offer-not-current",
            f"Offer {offer.code} does not hold on {ordered.ordered_on}.",
            f"{under}.offer",
        )
    if not 1 <= line.packs <= MAX_PACKS or line.packs * offer.pack_amount > most(
        counted=offer.material.counted
    ):
        faults.add(
            "packs-out-of-range", f"The number of packs is from 1 to {MAX_PACKS}.", f"{under}.packs"
        )
    elif line.packs < offer.minimum_packs:
        faults.add(
            "too-few-packs",
            f"{offer.supplier.name} sells no fewer than {offer.minimum_packs} of {offer.code}.",
            f"{under}.packs",
        )
    price = offer.price_of(line.packs) if line.price is None else line.price
    if not 0 <= price <= MAX_MONEY:
        faults.add("out-of-range", "A price is not below zero, nor too large.", f"{under}.price")


def _check_minimum(faults: Faults, supplier: Supplier, total: int) -> None:
    if total < supplier.minimum_order:
        words = [exact_money(value) for value in (total, supplier.minimum_order)]
        faults.add(
            "below-minimum-order",
            f"The order comes to {words[0]}; {supplier.name} takes none below {words[1]}.",
            "lines",
            total=total,
            minimum=supplier.minimum_order,
        )


def _expected_on(faults: Faults, ordered: Ordered, offers: Mapping[str, Offer]) -> date:
    """The day stated, else that of the slowest offer."""
    if ordered.expected_on is None:
        days = max((offer.days_to_come for offer in offers.values()), default=0)
        if (date.max - ordered.ordered_on).days < days:
            faults.add("out-of-range", "The day is too far ahead.", "ordered_on")
            return ordered.ordered_on
        return ordered.ordered_on + timedelta(days=days)
    if ordered.expected_on < ordered.ordered_on:
        faults.add("dates-reversed", "It is expected before it is ordered.", "expected_on")
    return ordered.expected_on


def _lock(code: str, *states: PurchaseOrder.State) -> PurchaseOrder:
    """The order, locked. Raises NotFound, StateConflict unless it is in one of these states."""
    orders = PurchaseOrder.objects.select_for_update(of=("self",)).select_related("supplier")
    try:
        order = orders.get(code=code)
    except PurchaseOrder.DoesNotExist:
        raise NotFound(f"There is no order {code}.") from None
    if order.state not in states:
        words = " or ".join(state.value for state in states)
        raise StateConflict(f"Order {code} is {order.state}; this needs one that is {words}.")
    return order


def _end(order: PurchaseOrder, state: PurchaseOrder.State) -> PurchaseOrder:
    order.state = state
    order.revision += 1
    order.save(update_fields=["state", "revision", "updated_at"])
    return order
