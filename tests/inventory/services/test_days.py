"""What has happened has no day to come, by the calendar of the studio."""

from datetime import date, timedelta
from itertools import permutations

import pytest
from django.utils import timezone
from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.stock.ledger import Verb
from inventory.errors import DayRefusal, MaterialRefusal
from inventory.models.catalog.suppliers import Supplier
from inventory.models.stock.lots import Lot
from inventory.services.catalog.suppliers import save_supplier
from inventory.services.counting.counts import Counted, count_lot
from inventory.services.days import refuse_days, take_day_outside
from inventory.services.receiving.deliveries import receive_delivery
from inventory.services.receiving.received import Received, ReceivedLine
from inventory.services.stock.hold_verbs import hold_lot, release_lot
from inventory.services.stock.ledger import Origin
from inventory.services.stock.opening_stock import OpeningLot, receive_opening_lot
from studio.foundation.errors import Faults, InvalidInput
from studio.foundation.units.grammar import parse_quantity
from studio.foundation.units.registry import Dimension
from tests.inventory.making import KG, TODAY, make_lot, make_material

#: At any moment these two have another day: 14 hours before and 11 hours behind UTC.
EARLIEST, LATEST = "Pacific/Kiritimati", "Pacific/Pago_Pago"


def faults_on(day):
    faults = Faults()
    take_day_outside(faults, "A pour", day)
    return [(fault.code, fault.field) for fault in faults.found]


@given(st.integers(-400, 400))
def test_a_day_is_refused_when_it_is_still_to_come(days):
    wanted = [("day-to-come", "on")] if days > 0 else []
    assert faults_on(timezone.localdate() + timedelta(days=days)) == wanted


@given(st.dates(max_value=date(1900, 12, 31)))
def test_a_day_of_ages_ago_is_a_year_typed_wrong(day):
    assert faults_on(day) == [("too-long-ago", "on")]
    assert faults_on(date(timezone.localdate().year - 50, 1, 1)) == []


def test_the_day_is_that_of_the_studio():
    with timezone.override(EARLIEST):
        today = timezone.localdate()
        assert faults_on(today) == []
    with timezone.override(LATEST):
        assert faults_on(today) == [("day-to-come", "on")]


@pytest.mark.django_db
def test_nothing_comes_in_and_nothing_is_counted_on_a_day_to_come():
    lot = make_lot(make_material("olive"), KG)
    save_supplier(Supplier(code="mill", name="Invented Mill"))
    tomorrow = timezone.localdate() + timedelta(days=1)
    lines = [ReceivedLine(material="olive", written="1 kg", price=10_000)]
    with pytest.raises(MaterialRefusal, match="purchase order") as delivery:
        receive_delivery(Received(supplier="mill", received_on=tomorrow, lines=lines))
    with pytest.raises(MaterialRefusal) as opening:
        receive_opening_lot(
            OpeningLot(
                code="L-old",
                material="olive",
                quantity=parse_quantity("1 kg", Dimension.MASS),
                cost=0,
                received_on=tomorrow,
            )
        )
    with pytest.raises(InvalidInput) as count:
        count_lot(Counted(lot_id=lot.pk, found=KG, on=tomorrow), origin=Origin(reference="c"))
    found = [
        (fault.code, fault.field)
        for refused in (delivery, opening, count)
        for fault in refused.value.faults
    ]
    assert found == [("day-to-come", name) for name in ("received_on", "received_on", "counted_on")]
    assert Lot.objects.count() == 1


@pytest.mark.django_db
def test_of_several_changes_of_a_lot_its_shipping_is_judged_wherever_it_stands():
    lots = [make_lot(make_material(), KG) for _ in range(2)]
    free = TODAY + timedelta(days=3)
    for lot in lots:
        hold_lot(lot.pk, reason="smells", on=TODAY)
        release_lot(lot.pk, reason="aired", on=free)
    by_id, verbs = {lot.pk: lot for lot in lots}, (Verb.RELEASE, Verb.SHIP, Verb.SPOIL)
    for ordered in permutations([(lot.pk, verb) for lot in lots for verb in verbs], 4):
        shipped = sorted(pk for pk, verb in set(ordered) if verb is Verb.SHIP)
        refuse_days(ordered, by_id, on=free, field="on")
        with pytest.raises(DayRefusal) as before:
            refuse_days(ordered, by_id, on=TODAY - timedelta(days=1), field="on")
        told = {(fault.code, fault.details["lot"]) for fault in before.value.faults}
        assert told == {("before-receipt", by_id[pk].code) for pk, _ in ordered}
        assert len(before.value.faults) == len(told)
        if shipped:
            with pytest.raises(DayRefusal) as held:
                refuse_days(ordered, by_id, on=TODAY, field="on")
            assert [(fault.code, fault.details["lot"]) for fault in held.value.faults] == [
                ("before-release", by_id[pk].code) for pk in shipped
            ]
