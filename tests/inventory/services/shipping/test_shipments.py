"""Shipments take cost along and returns bring it back, to the last unit; or nothing happens."""

from datetime import timedelta

import pytest
from django.utils import timezone
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.domain.stock.holds import Cause
from inventory.errors import LotNotUsable, NotEnoughStock, ShipmentRefusal
from inventory.models.shipping.shipments import Shipment, ShipmentReturn
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.services.shipping.returns import Returning, return_shipment
from inventory.services.shipping.shipments import Shipping, ToShip, ship
from inventory.services.stock.hold_verbs import hold_lot
from inventory.services.stock.proof import prove_books
from inventory.services.stock.reservations import Holding, reserve
from studio.foundation.errors import NotFound
from tests.inventory.making import TODAY, make_lot, make_material

SEARCH = settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])


def bars(code="bar"):
    return make_material(code, kind="bar", counted=True)


def to_shop(*lines, on=TODAY, customer="Corner shop (invented)", **values):
    return Shipping(customer_name=customer, shipped_on=on, lines=lines, **values)


def balances():
    return {lot.code: (lot.on_hand, lot.reserved, lot.cost) for lot in Lot.objects.all()}


@SEARCH
@given(
    lots=st.lists(
        st.tuples(st.integers(1, 30), st.integers(0, 10**6), st.integers(0, 40)),
        min_size=1,
        max_size=4,
    ),
    asked=st.integers(1, 60),
    parts=st.lists(st.integers(1, 30), max_size=3),
)
def test_what_leaves_and_comes_back_is_conserved(database, lots, asked, parts):
    bar = bars()
    for index, (amount, cost, age) in enumerate(lots):
        make_lot(bar, amount, cost, code=f"b{index}", received_on=TODAY - timedelta(days=age))
    before = balances()
    if asked > sum(amount for amount, _, _ in lots):
        with pytest.raises(NotEnoughStock):
            ship(to_shop(ToShip(amount=asked, material="bar")))
        assert balances() == before and not Shipment.objects.exists()
        return database.restore()
    shipment = ship(to_shop(ToShip(amount=asked, material="bar")))
    lines = list(shipment.lines.all())
    assert sum(line.amount for line in lines) == asked
    taken = {line.lot.code: (line.amount, line.cost) for line in lines}
    for code, (on_hand, _, cost) in balances().items():
        amount, left_with = taken.get(code, (0, 0))
        assert (on_hand + amount, cost + left_with) == (before[code][0], before[code][2])
    oldest = [lot.code for lot in Lot.objects.order_by("received_on", "id")]
    assert list(taken) == oldest[: len(taken)]
    assert all(taken[code][0] == before[code][0] for code in oldest[: len(taken) - 1])
    line = lines[0]
    for part in parts:
        back = sum(row.amount for row in ShipmentReturn.objects.filter(line=line))
        if part <= line.amount - back:
            return_shipment(
                shipment.code,
                Returning(returned_on=TODAY, reason="dented", lots={line.lot.code: part}),
            )
    left = sum(one.amount for one in lines) - sum(b.amount for b in ShipmentReturn.objects.all())
    if left:
        return_shipment(shipment.code, Returning(returned_on=TODAY, reason="the rest"))
    assert balances() == before
    assert sum(b.cost for b in ShipmentReturn.objects.all()) == sum(one.cost for one in lines)
    assert prove_books().holds
    database.restore()


def test_a_return_adds_entries_and_leaves_the_old_as_they_were(database):
    make_lot(bars(), 10, 1_000, code="b")
    shipment = ship(to_shop(ToShip(amount=4, lot="b")))
    before = list(StockEntry.objects.order_by("id").values())
    (back,) = return_shipment(shipment.code, Returning(returned_on=TODAY, reason="not sold"))
    after = list(StockEntry.objects.order_by("id").values())
    assert after[: len(before)] == before
    (entry,) = after[len(before) :]
    assert (entry["verb"], entry["on_hand"], entry["cost"]) == ("return", 4, 400)
    assert (entry["reference"], entry["note"]) == (f"shipment:{shipment.code}", "not sold")
    assert entry["posting"] == back.posting


def test_named_lots_go_first_and_the_rest_by_age(database):
    bar = bars()
    for code, age in (("young", 1), ("old", 30), ("middle", 10)):
        make_lot(bar, 5, 500, code=code, received_on=TODAY - timedelta(days=age))
    shipment = ship(to_shop(ToShip(amount=3, lot="young"), ToShip(amount=7, material="bar")))
    assert {line.lot.code: line.amount for line in shipment.lines.all()} == {
        "young": 3,
        "old": 5,
        "middle": 2,
    }


@pytest.mark.parametrize("cause", [Cause.ARRIVAL, Cause.BY_HAND])
def test_only_released_bars_leave(database, cause):
    lot = make_lot(bars(), 10, code="b")
    hold_lot(lot.pk, cause=cause, reason="curing")
    with pytest.raises(LotNotUsable) as refused:
        ship(to_shop(ToShip(amount=1, lot="b")))
    assert refused.value.faults[0].field == "lines.0.lot"
    with pytest.raises(NotEnoughStock):
        ship(to_shop(ToShip(amount=1, material="bar")))


def test_reserved_and_expired_bars_stay(database):
    bar = bars()
    make_lot(bar, 10, code="b")
    make_lot(bar, 10, code="old", best_before=TODAY - timedelta(days=1))
    reserve(Holding(needs={bar.pk: 8}, holder="order:1", on=TODAY))
    for line in (
        ToShip(amount=3, lot="b"),
        ToShip(amount=3, material="bar"),
        ToShip(amount=1, lot="old"),
    ):
        with pytest.raises((LotNotUsable, NotEnoughStock)):
            ship(to_shop(line))
    assert ship(to_shop(ToShip(amount=2, material="bar"))).lines.get().lot.code == "b"


def test_the_same_lot_twice_is_added_up(database):
    make_lot(bars(), 10, code="b")
    lines = (ToShip(amount=6, lot="b"), ToShip(amount=5, lot="b"))
    with pytest.raises(LotNotUsable):
        ship(to_shop(*lines))
    assert ship(to_shop(*lines[:1], ToShip(amount=4, lot="b"))).lines.get().amount == 10


@pytest.mark.parametrize(
    ("values", "fields"),
    [
        ({"customer": " "}, {"customer_name"}),
        ({"customer": "x" * 121}, {"customer_name"}),
        ({"reference": "x" * 81}, {"reference"}),
        ({"on": timezone.localdate() + timedelta(days=1)}, {"shipped_on"}),
        ({"lines": ()}, {"lines"}),
        ({"lines": (ToShip(amount=1),)}, {"lines.0"}),
        ({"lines": (ToShip(amount=1, lot="b", material="bar"),)}, {"lines.0"}),
        (
            {"lines": (ToShip(amount=0, lot="b"),), "customer": ""},
            {"lines.0.amount", "customer_name"},
        ),
        ({"lines": (ToShip(amount=1, material="oil"),)}, {"lines.0.material"}),
    ],
)
def test_what_cannot_have_been_shipped(database, values, fields):
    make_lot(bars(), 10, code="b")
    make_material("oil")
    lines = values.get("lines", (ToShip(amount=1, lot="b"),))
    others = {name: value for name, value in values.items() if name != "lines"}
    with pytest.raises(ShipmentRefusal) as refused:
        ship(to_shop(*lines, **others))
    assert {fault.field for fault in refused.value.faults} == fields
    assert not Shipment.objects.exists()


def test_all_or_nothing_and_no_oil(database):
    make_lot(bars(), 10, 1_000, code="b")
    make_lot(make_material("oil"), 10, 1_000, code="o")
    before = balances()
    for other in (ToShip(amount=99, material="bar"), ToShip(amount=1, lot="o")):
        with pytest.raises((NotEnoughStock, LotNotUsable)):
            ship(to_shop(ToShip(amount=1, lot="b"), other))
    for line in (ToShip(amount=1, lot="x"), ToShip(amount=1, material="x")):
        with pytest.raises(NotFound):
            ship(to_shop(ToShip(amount=1, lot="b"), line))
    assert balances() == before


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"reason": " "}, "reason"),
        ({"returned_on": TODAY - timedelta(days=1)}, "returned_on"),
        ({"returned_on": timezone.localdate() + timedelta(days=1)}, "returned_on"),
        ({"lots": {}}, "lots"),
        ({"lots": {"b": 5}}, "lots.b"),
        ({"lots": {"b": 0}}, "lots.b"),
        ({"lots": {"other": 1}}, "lots.other"),
    ],
)
def test_what_cannot_have_come_back(database, values, field):
    make_lot(bars(), 10, 1_000, code="b")
    shipment = ship(to_shop(ToShip(amount=4, lot="b")))
    with pytest.raises(ShipmentRefusal) as refused:
        return_shipment(
            shipment.code, Returning(**{"returned_on": TODAY, "reason": "dented", **values})
        )
    assert refused.value.faults[0].field == field
    assert not ShipmentReturn.objects.exists()


def test_nothing_comes_back_twice(database):
    make_lot(bars(), 10, 1_000, code="b")
    shipment = ship(to_shop(ToShip(amount=4, lot="b")))
    whole = Returning(returned_on=TODAY, reason="not sold")
    return_shipment(shipment.code, whole)
    with pytest.raises(ShipmentRefusal):
        return_shipment(shipment.code, whole)
    with pytest.raises(NotFound):
        return_shipment("S-404", whole)
