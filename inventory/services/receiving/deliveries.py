"""Deliveries: bought stock comes in as lots that carry their landed cost."""

from dataclasses import replace

from django.db import transaction

from inventory.domain.receiving.landed_cost import DeliveryLine as CostLine
from inventory.domain.receiving.landed_cost import LandedLine, allocate
from inventory.domain.stock.holds import asked_for
from inventory.domain.stock.ledger import Verb
from inventory.errors import MaterialRefusal
from inventory.models.catalog.suppliers import Supplier
from inventory.models.receiving.deliveries import Delivery, DeliveryCharge, DeliveryLine
from inventory.models.stock.lots import Lot
from inventory.services.buying.orders import book_received
from inventory.services.days import take_day_outside
from inventory.services.events import buying_cost_changed
from inventory.services.receiving.lines import LOT_WORDS, Known, ReadLine, read_line
from inventory.services.receiving.received import INVOICE_AGAIN, Received
from inventory.services.stock.certificates import keep_confirmed
from inventory.services.stock.ledger import Origin
from inventory.services.stock.production import NewLot, open_lots
from studio.foundation.doers import By
from studio.foundation.errors import Fault, Faults, Refusal
from studio.foundation.money import MAX_MONEY
from studio.work.cleaning import take_field_faults
from studio.work.numbering import next_code

MOST_LINES = 500


@transaction.atomic
def receive_delivery(received: Received, *, by: By = None) -> Delivery:
    """Take a delivery in: its lots, their landed cost, and what it brings of placed orders.

    The landed costs of the lots add up to the lines and charges of the invoice, to the last
    ten-thousandth (IAS 2, paragraphs 10 and 11). More than ordered may come; an order with all
    in closes itself. Raises MaterialRefusal with every fault under `lines.N.field` or
    `charges.N.field`, also for an invoice of the supplier that came in before, unless that is
    confirmed; then nothing changes.
    """
    faults = Faults()
    delivery, lines, landed = _judged(faults, received, by=by)
    faults.raise_if_any(MaterialRefusal)
    return _take_in(delivery, [line for line in lines if line], landed, received)


@transaction.atomic
def faults_of_delivery(received: Received) -> tuple[Fault, ...]:
    """All that `receive_delivery` would refuse it for. Writes nothing."""
    faults = Faults()
    _judged(faults, received, by=None)
    return faults.found


def _judged(
    faults: Faults, received: Received, *, by: By
) -> tuple[Delivery, list[ReadLine | None], tuple[LandedLine, ...]]:
    """The delivery to write, its lines and their landed costs; what is wrong goes to `faults`."""
    # Locked, so that of two takings-in of one invoice the second sees the first.
    locked = Supplier.objects.select_for_update(no_key=True)
    supplier = locked.filter(code=received.supplier).first()
    if supplier is None:
        faults.add("not-found", f"There is no supplier {received.supplier}.", "supplier")
    delivery = Delivery(
        supplier=supplier,
        invoice=received.invoice.strip(),
        received_on=received.received_on,
        note=received.note,
        by=by,
    )
    _check_invoice(faults, delivery, confirmed=received.confirmed)
    take_field_faults(faults, delivery, only=("invoice", "note"))
    instead = "What is still to come is a purchase order: place one and receive it on the day."
    take_day_outside(faults, "A delivery", received.received_on, "received_on", instead=instead)
    if len(received.lines) > MOST_LINES:
        faults.add("too-many-lines", f"A delivery has at most {MOST_LINES} lines.", "lines")
        return delivery, [], ()
    lines = _read_lines(faults, received)
    return delivery, lines, _landed(faults, received, lines)


def _check_invoice(faults: Faults, delivery: Delivery, *, confirmed: frozenset[str]) -> None:
    """Refuse an invoice number of the supplier that came in before, unless that is meant."""
    if not delivery.invoice or delivery.supplier_id is None or INVOICE_AGAIN in confirmed:
        return
    before = (
        Delivery.objects.filter(supplier=delivery.supplier_id, invoice__iexact=delivery.invoice)
        .order_by("id")
        .first()
    )
    if before is not None:
        faults.add(
            INVOICE_AGAIN,
            f"Invoice {delivery.invoice} of {delivery.supplier.name} came in on"
            f" {before.received_on} already, as delivery {before.code}. If this is another part of"
            " it, confirm that.",
            "invoice",
            delivery=before.code,
        )


def _read_lines(faults: Faults, received: Received) -> list[ReadLine | None]:
    known = Known.for_delivery(received)
    seen: set[str] = set()
    lines = []
    for index, line in enumerate(received.lines):
        under = f"lines.{index}"
        lines.append(read_line(faults, line, known=known, received=received, under=under))
        if line.lot_code and line.lot_code in seen:
            faults.add("code-twice", f"Two lots would be {line.lot_code}.", f"{under}.lot_code")
        seen.add(line.lot_code)
    return lines


def _landed(
    faults: Faults, received: Received, lines: list[ReadLine | None]
) -> tuple[LandedLine, ...]:
    """The landed cost of each line; empty, with the reasons in `faults`, when there is none.

    With a line that can't be read, or has no price yet, only the faults of single lines and charges
    are told: whether the charges can be spread is not known yet.
    """
    given = list(zip(received.lines, lines, strict=True))
    total = sum(line.price for _, line in given if line) + sum(
        abs(charge.amount) for charge in received.charges
    )
    if total > MAX_MONEY:
        faults.add("out-of-range", "The invoice is more than can be kept.", "charges")
        return ()
    cost_lines = [
        line.cost_line
        if line
        else CostLine(name=written.material or "The line", price=written.price or 0, weight_ng=1)
        for written, line in given
    ]
    try:
        return allocate(cost_lines, received.charges)
    except Refusal as refusal:
        missing = any(fault.code == "price-missing" for fault in faults.found)
        is_whole = None not in lines and not missing
        for fault in refusal.faults:
            if is_whole or fault.field != "charges":
                faults.add(fault.code, fault.message, fault.field, **fault.details)
        return ()


def _take_in(
    delivery: Delivery,
    lines: list[ReadLine],
    landed: tuple[LandedLine, ...],
    received: Received,
) -> Delivery:
    """Write the delivery, open its lots and book what was ordered."""
    delivery.code = next_code("D")
    delivery.save()
    lots = open_lots(
        [_new_lot(line, cost.cost, delivery) for line, cost in zip(lines, landed, strict=True)],
        verb=Verb.RECEIVE,
        origin=Origin(
            reference=f"delivery:{delivery.code}",
            by=delivery.by,
            on=delivery.received_on,
            day_field="received_on",
        ),
    )
    DeliveryLine.objects.bulk_create(
        _row(delivery, position, line, cost, lot)
        for position, (line, cost, lot) in enumerate(zip(lines, landed, lots, strict=True), start=1)
    )
    DeliveryCharge.objects.bulk_create(
        DeliveryCharge(
            delivery=delivery,
            kind=charge.kind.value,
            basis=charge.basis.value,
            amount=charge.amount,
        )
        for charge in received.charges
    )
    keep_confirmed(lots, confirmed=received.confirmed, by=delivery.by)
    _book_orders(lines)
    buying_cost_changed.send(Delivery, materials=frozenset(line.material.pk for line in lines))
    return delivery


def _new_lot(line: ReadLine, cost: int, delivery: Delivery) -> NewLot:
    certificate = line.line.certificate
    if certificate.density_g_ml is None and line.offer is not None:
        # What the supplier states of his own goods goes before the nominal value.
        certificate = replace(
            certificate,
            density_g_ml=line.offer.density_g_ml,
            density_temperature_c=line.offer.density_temperature_c,
        )
    return NewLot(
        material=line.material,
        amount=line.pack.amount,
        cost=cost,
        received_on=delivery.received_on,
        code=line.line.lot_code,
        supplier=delivery.supplier,
        best_before=line.line.best_before,
        holds=asked_for(
            line.line.state,
            line.line.state_reason,
            checked=delivery.supplier.check_arrivals,
            reference=f"delivery:{delivery.code}",
        ),
        certificate=certificate,
        **{name: getattr(line.line, name) for name in LOT_WORDS},
    )


def _row(
    delivery: Delivery, position: int, line: ReadLine, cost: LandedLine, lot: Lot
) -> DeliveryLine:
    return DeliveryLine(
        delivery=delivery,
        position=position,
        material=line.material,
        offer=line.offer,
        order_line=line.order_line,
        packs=line.line.packs,
        written=line.written,
        amount=line.pack.amount,
        density_g_ml=line.pack.density_g_ml,
        price=line.price,
        landed_cost=cost.cost,
        lot=lot,
    )


def _book_orders(lines: list[ReadLine]) -> None:
    """Add up what came for each order line; two lines of a delivery may bring one."""
    booked: dict[int, int] = {}
    ordered = {}
    for line in lines:
        if line.order_line is not None:
            pk = line.order_line.pk
            booked[pk] = booked.get(pk, 0) + line.booked
            ordered[pk] = line.order_line
    book_received(booked, ordered)
