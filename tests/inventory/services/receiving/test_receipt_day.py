"""The day a lot came in is corrected with its delivery, with a reason, and no entry is changed."""

from datetime import timedelta

import pytest
from django.utils import timezone

from inventory.domain.stock.ledger import Verb
from inventory.errors import DayRefusal
from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import Supplier
from inventory.models.receiving.deliveries import Delivery
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.queries.stock.last_paid import last_paid_for
from inventory.services.catalog.suppliers import save_supplier
from inventory.services.counting.counts import Counted, count_lot
from inventory.services.events import buying_cost_changed
from inventory.services.receiving.deliveries import receive_delivery
from inventory.services.receiving.receipt_day import correct_day_of_receipt
from inventory.services.receiving.received import Received, ReceivedLine
from inventory.services.stock.consumption import draw
from inventory.services.stock.ledger import Origin
from inventory.services.stock.opening_stock import OpeningLot, receive_opening_lot
from inventory.services.stock.production import NewLot, open_lots
from inventory.services.stock.proof import prove_books
from studio.foundation.errors import NotFound
from studio.foundation.units.grammar import parse_quantity
from studio.foundation.units.registry import Dimension
from tests.inventory.making import KG, TODAY, make_lot, make_material
from tests.studio.web.api.people import person


def before(days):
    return TODAY - timedelta(days=days)


@pytest.fixture
def delivery(database):
    """Oil with a shelf life of a year, and butter of which the best before was stated."""
    make_material("olive", shelf_life_days=365)
    make_material("shea", shelf_life_days=365)
    save_supplier(Supplier(code="mill", name="Invented Mill"))
    lines = [
        ReceivedLine(material="olive", written="5 kg", price=50_000, lot_code="oil-1"),
        ReceivedLine(
            material="shea", written="2 kg", price=40_000, lot_code="shea-1", best_before=TODAY
        ),
    ]
    return receive_delivery(Received(supplier="mill", received_on=before(5), lines=lines))


def lots():
    return {lot.code: (lot.received_on, lot.best_before) for lot in Lot.objects.all()}


def faults(code, day, reason="typed wrong"):
    kept = lots()
    with pytest.raises(DayRefusal) as refused:
        correct_day_of_receipt(code, day, reason=reason)
    assert lots() == kept
    return [(fault.code, fault.field) for fault in refused.value.faults]


def test_all_that_came_in_a_delivery_came_on_the_corrected_day(delivery):
    entries = list(StockEntry.objects.order_by("id").values())
    by = person("maker")
    moved = correct_day_of_receipt("oil-1", before(9), reason=" The note was late. ", by=by)
    assert {lot.code for lot in moved} == {"oil-1", "shea-1"}
    assert lots() == {
        "oil-1": (before(9), before(9) + timedelta(days=365)),
        "shea-1": (before(9), TODAY),
    }
    row = Delivery.objects.get(pk=delivery.pk)
    assert row.received_on == before(9)
    assert str(before(5)) in row.note and "The note was late." in row.note
    kept = Lot.objects.get(code="shea-1").history.first()
    assert (kept.history_user, kept.history_change_reason) == (by, "The note was late.")
    assert list(StockEntry.objects.order_by("id").values()) == entries
    assert prove_books().holds


def test_what_was_refused_before_is_entered_once_the_day_is_corrected(delivery):
    lot = Lot.objects.get(code="oil-1")
    early = Origin(reference="batch:B-1", on=before(7))
    with pytest.raises(DayRefusal) as refused:
        draw(lot.pk, KG, origin=early)
    (fault,) = refused.value.faults
    assert (fault.code, fault.field, fault.details["lot"]) == ("before-receipt", "on", "oil-1")
    assert fault.details["received_on"] == before(5).isoformat() and not fault.details["made"]
    correct_day_of_receipt("oil-1", before(7), reason="typed wrong")
    draw(lot.pk, KG, origin=early)
    assert StockEntry.objects.get(verb="consume").on == before(7)


def test_a_day_after_the_first_use_or_after_a_best_before_is_none(delivery):
    lot = Lot.objects.get(code="oil-1")
    draw(lot.pk, KG, origin=Origin(reference="batch:B-1", on=before(3)))
    assert faults("shea-1", before(2)) == [("after-use", "received_on")]
    assert faults("shea-1", TODAY + timedelta(days=1)) == [
        ("after-use", "received_on"),
        ("best-before-passed", "received_on"),
    ]
    tomorrow = timezone.localdate() + timedelta(days=1)
    assert faults("oil-1", tomorrow) == [("day-to-come", "received_on")]
    assert faults("oil-1", before(8), reason="  ") == [("reason-missing", "reason")]
    assert faults("oil-1", before(8), reason="x" * 101) == [("reason-missing", "reason")]
    correct_day_of_receipt("oil-1", before(3), reason="the day of the use itself")


def test_a_day_after_a_count_that_found_no_difference_is_none(delivery):
    lot = Lot.objects.get(code="oil-1")
    for day in (before(2), before(3)):
        count_lot(Counted(lot_id=lot.pk, found=lot.on_hand, on=day), origin=Origin(reference="c"))
    draw(lot.pk, KG, origin=Origin(reference="batch:B-1", on=before(1)))
    assert not StockEntry.objects.filter(verb="count").exists()
    assert (
        faults("oil-1", before(2)) == faults("shea-1", before(1)) == [("after-use", "received_on")]
    )
    with pytest.raises(DayRefusal) as refused:
        correct_day_of_receipt("oil-1", before(0), reason="typed wrong")
    assert refused.value.faults[0].details["used_on"] == before(3).isoformat()
    correct_day_of_receipt("oil-1", before(3), reason="the day of the count itself")


def test_what_was_paid_last_is_told_of_when_opening_stock_or_a_corrected_day_changes_it(delivery):
    told = []

    def listen(**sent):
        told.append(sent["materials"])

    buying_cost_changed.connect(listen)
    try:
        correct_day_of_receipt("oil-1", before(9), reason="typed wrong")
        faults("oil-1", TODAY, reason="")
        olive, shea = Material.objects.get(code="olive"), Material.objects.get(code="shea")
        old = {"quantity": parse_quantity("3 kg", Dimension.MASS), "cost": 9_000}
        receive_opening_lot(OpeningLot(code="old", material="shea", received_on=TODAY, **old))
    finally:
        buying_cost_changed.disconnect(listen)
    assert told == [{olive.pk, shea.pk}, {shea.pk}]
    assert last_paid_for([shea.pk], on=TODAY)[shea.pk].cost == 9_000


def test_what_was_made_here_has_the_day_of_its_making(database):
    oil = make_lot(make_material(), KG)
    new = NewLot(
        material=make_material(), amount=KG, cost=0, received_on=TODAY, made_of={oil.pk: KG}
    )
    (made,) = open_lots([new], verb=Verb.PRODUCE, origin=Origin(reference="batch:B-1"))
    assert faults(made.code, before(1)) == [("day-refused", "received_on")]
    with pytest.raises(DayRefusal, match="was made on") as refused:
        draw(made.pk, 1, origin=Origin(reference="batch:B-2", on=before(1)))
    assert refused.value.faults[0].details["made"] is True
    with pytest.raises(NotFound):
        correct_day_of_receipt("L-none", before(1), reason="typed wrong")


def test_opening_stock_says_since_when_it_is_here(database):
    make_material("olive")
    opening = OpeningLot(
        code="old",
        material="olive",
        quantity=parse_quantity("3 kg", Dimension.MASS),
        cost=9_000,
        received_on=before(200),
    )
    lot = receive_opening_lot(opening)
    assert StockEntry.objects.get(lot=lot).on == before(200)
    draw(lot.pk, KG, origin=Origin(reference="batch:B-1", on=before(199)))
    correct_day_of_receipt("old", before(300), reason="found the invoice")
    assert lots()["old"] == (before(300), None)
