"""Deliveries: lots with their landed cost, all or nothing."""

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db.models import Sum
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.domain.catalog.allergens import Allergen
from inventory.domain.catalog.certificate import Certificate
from inventory.domain.receiving.landed_cost import Basis, Charge, ChargeKind
from inventory.domain.stock.lots import LotState
from inventory.errors import MaterialRefusal
from inventory.models.receiving.deliveries import Delivery, DeliveryCharge, DeliveryLine
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.services.receiving.deliveries import receive_delivery
from inventory.services.receiving.received import OrderLineAt, Received, ReceivedLine
from inventory.services.stock.hold_verbs import release_lot
from studio.models import Numbering
from tests.inventory.buying import (
    GALLON_ML,
    POUND_NG,
    a_supplier,
    an_offer,
    an_oil,
    an_order,
    boxes,
    faults_of,
)
from tests.inventory.making import KG, TODAY
from tests.studio.web.api.people import person


def receive(supplier, *lines, **values):
    values.setdefault("received_on", TODAY)
    return receive_delivery(Received(supplier=supplier.code, lines=lines, **values))


def test_gallons_and_pounds_become_lots_at_their_densities(database):
    supplier, olive, coconut = a_supplier(), an_oil(), an_oil()
    receive(
        supplier,
        ReceivedLine(material=olive.code, written="1 gal", packs=5, price=1, lot_code="nominal"),
        ReceivedLine(
            material=olive.code,
            written="5 gal",
            price=1,
            certificate=Certificate(
                density_g_ml=Decimal("0.911"), density_temperature_c=Decimal(25)
            ),
            lot_code="own",
        ),
        ReceivedLine(material=coconut.code, written="35 lb", packs=2, price=1, lot_code="pounds"),
    )
    lots = {lot.code: lot for lot in Lot.objects.all()}
    assert lots["nominal"].on_hand == round(5 * GALLON_ML * Decimal("0.915") * 10**9)
    assert lots["own"].on_hand == round(5 * GALLON_ML * Decimal("0.911") * 10**9)
    assert lots["pounds"].on_hand == 70 * POUND_NG
    assert (lots["own"].density_g_ml, lots["own"].density_temperature_c) == (Decimal("0.911"), 25)
    assert lots["nominal"].density_g_ml is None
    assert list(DeliveryLine.objects.values_list("written", "packs", "density_g_ml")) == [
        ("1 gal", 5, Decimal("0.915")),
        ("5 gal", 1, Decimal("0.911")),
        ("35 lb", 2, None),
    ]


def test_an_offer_says_material_pack_price_and_density(database):
    supplier = a_supplier()
    offer = an_offer(supplier, an_oil(), "1 gal", 250_000, density_g_ml=Decimal("0.92"))
    delivery = receive(supplier, ReceivedLine(offer=offer.code, packs=4))
    line = delivery.lines.get()
    assert (line.material, line.written, line.price) == (offer.material, "1 gal", 1_000_000)
    assert line.amount == line.lot.on_hand == 4 * offer.pack_amount
    assert line.lot.density_g_ml == Decimal("0.92")


def test_what_a_pack_really_held_goes_before_what_the_offer_says(database):
    supplier = a_supplier()
    offer = an_offer(supplier, an_oil(), "35 lb")
    delivery = receive(supplier, ReceivedLine(offer=offer.code, packs=2, written="34 lb 8 oz"))
    assert delivery.lines.get().amount == 69 * POUND_NG


def test_a_lot_keeps_its_certificate_its_dates_and_who_sent_it(database):
    supplier, oil = a_supplier(), an_oil(shelf_life_days=365)
    certificate = Certificate(
        sv_mg_koh_g=Decimal("191.5"), allergens=(Allergen("Linalool", Decimal("0.0315")),)
    )
    receive(
        supplier,
        ReceivedLine(
            material=oil.code,
            written="20 kg",
            price=900_000,
            supplier_lot="S-77",
            state=LotState.QUARANTINE,
            state_reason="certificate to be checked",
            certificate=certificate,
        ),
        invoice="R-1",
    )
    lot = Lot.objects.get()
    assert lot.certificate == certificate
    assert (lot.supplier, lot.supplier_lot, lot.state) == (supplier, "S-77", "quarantine")
    assert lot.best_before == TODAY + timedelta(days=365)
    entry = lot.entries.get()
    assert (entry.verb, entry.reference, entry.cost) == (
        "receive",
        f"delivery:{Delivery.objects.get().code}",
        900_000,
    )


def test_freight_by_weight_and_a_discount_by_value_fall_on_the_lots(database):
    supplier, oil = a_supplier(), an_oil()
    box = boxes(piece_mass=KG // 10)
    delivery = receive(
        supplier,
        ReceivedLine(material=oil.code, written="9 kg", price=600_000),
        ReceivedLine(material=box.code, written="10 each", price=400_000),
        charges=[
            Charge(kind=ChargeKind.FREIGHT, amount=100_000, basis=Basis.WEIGHT),
            Charge(kind=ChargeKind.DISCOUNT, amount=-50_000),
        ],
    )
    costs = list(delivery.lines.values_list("landed_cost", flat=True))
    assert costs == [600_000 + 90_000 - 30_000, 400_000 + 10_000 - 20_000]
    assert [line.lot.cost for line in delivery.lines.all()] == costs


money = st.integers(0, 10**9)


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(st.tuples(st.integers(1, 10**10), money), min_size=1, max_size=6),
    st.lists(st.tuples(money, st.sampled_from(Basis)), max_size=4),
    st.integers(0, 100),
)
def test_the_lots_cost_what_the_invoice_says_to_the_last_unit(db, lines, charges, discount):
    supplier, oil = a_supplier(), an_oil()
    value = sum(price for _, price in lines)
    invoice = [Charge(kind=ChargeKind.FREIGHT, amount=a, basis=b) for a, b in charges if value]
    invoice.append(Charge(kind=ChargeKind.DISCOUNT, amount=-(value * discount // 100)))
    delivery = receive(
        supplier,
        *(ReceivedLine(material=oil.code, written=f"{mg} mg", price=p) for mg, p in lines),
        charges=invoice,
    )
    total = value + sum(charge.amount for charge in invoice)
    sums = delivery.lines.aggregate(landed=Sum("landed_cost"), lots=Sum("lot__cost"))
    assert sums == {"landed": total, "lots": total}
    assert (
        StockEntry.objects.filter(reference=f"delivery:{delivery.code}").aggregate(c=Sum("cost"))[
            "c"
        ]
        == total
    )


def nothing_happened():
    return not any(
        model.objects.exists()
        for model in (Delivery, DeliveryLine, DeliveryCharge, Lot, StockEntry)
    )


def test_every_fault_is_told_with_its_path_and_nothing_changes(database):
    supplier, other = a_supplier(), a_supplier()
    oil, box = an_oil(density_g_ml=None), boxes()
    foreign = an_offer(other, box, "12 each")
    order = an_order(foreign, 1)
    with pytest.raises(MaterialRefusal) as refused:
        receive(
            supplier,
            ReceivedLine(material=oil.code, written="1 gal", price=1, lot_code="twice"),
            ReceivedLine(material=box.code, written="2 lb", price=-1, lot_code="twice"),
            ReceivedLine(material=oil.code, written="3,5 kg", lot_code="B-00302-poured"),
            ReceivedLine(offer=foreign.code, material=oil.code, packs=0, lot_code="a b"),
            ReceivedLine(price=1, written="1 kg"),
            ReceivedLine(material="none", offer="none", price=1),
            ReceivedLine(
                material=oil.code,
                written="1 kg",
                price=1,
                certificate=Certificate(purity=Decimal(99), density_temperature_c=Decimal(20)),
                best_before=TODAY - timedelta(days=1),
                supplier_lot="x" * 61,
                order_line=OrderLineAt(order=order.code, position=1),
            ),
            ReceivedLine(
                material=oil.code,
                written="1 kg",
                price=1,
                order_line=OrderLineAt(order="P-99999", position=1),
            ),
            charges=[Charge(kind=ChargeKind.DISCOUNT, amount=5)],
            invoice="x" * 61,
        )
    assert faults_of(refused) == {
        ("max-length", "invoice"),
        ("no-density", "lines.0.written"),
        ("wrong-dimension", "lines.1.written"),
        ("price-below-zero", "lines.1.price"),
        ("code-twice", "lines.1.lot_code"),
        ("price-missing", "lines.2.price"),
        ("code-given-out", "lines.2.lot_code"),
        ("comma", "lines.2.written"),
        ("other-supplier", "lines.3.offer"),
        ("other-material", "lines.3.material"),
        ("packs-out-of-range", "lines.3.packs"),
        ("invalid", "lines.3.lot_code"),
        ("nothing-named", "lines.4.material"),
        ("not-found", "lines.5.offer"),
        ("out-of-range", "lines.6.purity"),
        ("temperature-without-density", "lines.6.density_g_ml"),
        ("best-before-passed", "lines.6.best_before"),
        ("max-length", "lines.6.supplier_lot"),
        ("other-supplier", "lines.6.order_line"),
        ("other-material", "lines.6.order_line"),
        ("not-found", "lines.7.order_line"),
        ("discount-above-zero", "charges.0.amount"),
    }
    assert nothing_happened() and not Numbering.objects.filter(prefix__in=["D", "L"]).exists()


def test_charges_that_cannot_be_spread_leave_nothing_behind(database):
    supplier, box = a_supplier(), boxes()
    freight = Charge(kind=ChargeKind.FREIGHT, amount=10, basis=Basis.WEIGHT)
    line = ReceivedLine(material=box.code, written="10 each", price=1)
    with pytest.raises(MaterialRefusal) as refused:
        receive(supplier, line, charges=[freight])
    assert faults_of(refused) == {("weight-missing", "lines.0.weight")}
    assert nothing_happened()
    weighed = ReceivedLine(material=box.code, written="10 each", price=1, weight_ng=KG)
    assert receive(supplier, weighed, charges=[freight]).lines.get().landed_cost == 11


def test_an_empty_delivery_and_one_of_nobody_are_refused(db):
    with pytest.raises(MaterialRefusal) as refused:
        receive_delivery(Received(supplier="nobody", received_on=TODAY, lines=[]))
    assert faults_of(refused) == {("not-found", "supplier"), ("no-lines", "lines")}


def test_a_code_that_a_lot_has_is_not_given_again(database):
    supplier, oil = a_supplier(), an_oil()
    line = ReceivedLine(material=oil.code, written="1 kg", price=1, lot_code="mine")
    receive(supplier, line)
    with pytest.raises(MaterialRefusal) as refused:
        receive(supplier, line)
    assert faults_of(refused) == {("code-taken", "lines.0.lot_code")}
    assert Lot.objects.count() == 1


def test_lots_wait_where_the_delivery_or_the_supplier_asks(database):
    olive, by = an_oil(), person("maker")
    plain, watched = a_supplier(), a_supplier(check_arrivals=True)
    line = ReceivedLine(material=olive.code, written="1 kg", price=1)
    waiting = replace(line, state=LotState.QUARANTINE, state_reason="no certificate yet")
    blocked = replace(line, state=LotState.BLOCKED, state_reason="pail is open")
    receive(plain, line, waiting, blocked)
    receive(watched, line, blocked)
    held = [
        [(each.cause, each.reason, each.reference) for each in lot.holds.order_by("id")]
        for lot in Lot.objects.order_by("id")
    ]
    assert held == [
        [],
        [("arrival", "no certificate yet", "delivery:D-00001")],
        [("by-hand", "pail is open", "delivery:D-00001")],
        [("arrival", "to be checked on arrival", "delivery:D-00002")],
        [
            ("by-hand", "pail is open", "delivery:D-00002"),
            ("arrival", "to be checked on arrival", "delivery:D-00002"),
        ],
    ]
    last = Lot.objects.order_by("id").last()
    assert last.state == "blocked"
    assert release_lot(last.pk, reason="sealed anew, and checked", by=by).state == "released"


def test_a_blocked_line_says_why(database):
    olive = an_oil()
    line = ReceivedLine(material=olive.code, written="1 kg", price=1, state=LotState.BLOCKED)
    with pytest.raises(MaterialRefusal) as refused:
        receive(a_supplier(), line)
    assert faults_of(refused) == {("reason-missing", "lines.0.state_reason")}
