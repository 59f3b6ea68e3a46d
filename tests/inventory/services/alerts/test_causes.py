"""Every cause opens one alert, which is followed, and closes by itself when it is gone."""

from datetime import UTC, datetime, timedelta

import pytest
from django.utils import timezone

from inventory.errors import AlertClosed
from inventory.models.alerts.alerts import Alert
from inventory.models.buying.orders import PurchaseOrder
from inventory.services.alerts.alerts import acknowledge, raise_alerts, snooze
from inventory.services.buying.requirements import require
from inventory.services.counting.counts import Counted, count_lot, spoil_lot
from inventory.services.stock.consumption import draw
from inventory.services.stock.ledger import Origin
from inventory.services.stock.reservations import Holding, release, reserve
from studio.foundation.errors import InvalidInput, NotFound
from studio.work.digests import Digest
from tests.inventory.buying import a_supplier, an_offer, an_oil, an_order
from tests.inventory.making import KG, TODAY, make_lot
from tests.studio.web.api.people import person

NOW = datetime(TODAY.year, TODAY.month, TODAY.day, 12, tzinfo=UTC)
BOOK = Origin(reference="test", note="rancid")


def look(days=0):
    return raise_alerts(now=NOW + timedelta(days=days))


def the_open(kind):
    return list(Alert.objects.filter(kind=kind, closed_at=None))


def test_a_lot_that_expires_before_it_is_used(database):
    oil = an_oil("olive", name="Olive oil")
    lot = make_lot(oil, 10 * KG, code="L-olive", best_before=TODAY + timedelta(days=40))
    require({oil.pk: 4 * KG}, holder="batch:1", due_on=TODAY + timedelta(days=20))
    look()
    assert not the_open("expiring")
    look(10)
    (alert,) = the_open("expiring")
    assert (alert.subject, alert.material) == ("lot:L-olive", oil)
    assert (alert.figures["expected_use"], alert.figures["left"]) == (4 * KG, 6 * KG)
    assert "in 30 days" in alert.reason and "6 kg would be left" in alert.reason
    require({oil.pk: 10 * KG}, holder="batch:1", due_on=TODAY + timedelta(days=20))
    look(11)
    assert not the_open("expiring")
    require({oil.pk: 4 * KG}, holder="batch:1", due_on=TODAY + timedelta(days=20))
    look(41)
    (alert,) = the_open("expiring")
    assert "past their best before" in alert.reason
    spoil_lot(lot.pk, 10 * KG, origin=BOOK)
    look(42)
    assert not the_open("expiring")


def test_what_was_used_before_counts_as_a_rate(db):
    oil = an_oil()
    now = timezone.now()
    today = timezone.localdate(now)
    draw(make_lot(oil, 9 * KG, received_on=today).pk, 9 * KG, origin=BOOK)
    make_lot(oil, 2 * KG, received_on=today, best_before=today + timedelta(days=20))
    raise_alerts(now=now)
    # 9 kg in 90 days are 100 g a day, which is all of 2 kg in 20 days.
    assert not the_open("expiring")
    make_lot(oil, KG, code="L-more", received_on=today, best_before=today + timedelta(days=21))
    raise_alerts(now=now)
    (alert,) = the_open("expiring")
    assert (alert.subject, alert.figures["left"]) == ("lot:L-more", KG - KG // 10)


def test_an_order_that_is_late(db):
    order = an_order(an_offer(a_supplier("mill", lead_time_days=5), an_oil(), "5 kg"), 2)
    late = (order.expected_on - TODAY).days + 1
    look(late - 1)
    assert not the_open("late-delivery")
    look(late)
    (alert,) = the_open("late-delivery")
    assert alert.subject == f"order:{order.code}"
    assert "1 day ago; 1 line is still to come" in alert.reason
    PurchaseOrder.objects.filter(pk=order.pk).update(state=PurchaseOrder.State.CLOSED)
    look(late + 1)
    assert not the_open("late-delivery")


def test_a_reservation_past_its_date(db):
    oil = an_oil()
    make_lot(oil, 5 * KG)
    require({oil.pk: KG}, holder="batch:1", due_on=TODAY + timedelta(days=2))
    held = reserve(Holding(needs={oil.pk: KG}, holder="batch:1", on=TODAY)).reservation
    reserve(Holding(needs={oil.pk: KG}, holder="stand", on=TODAY))
    look(2)
    assert not the_open("reservation-past-date")
    look(3)
    (alert,) = the_open("reservation-past-date")
    assert (alert.subject, alert.figures["lots"]) == ("reservation:batch:1", 1)
    release(held.pk)
    look(4)
    assert not the_open("reservation-past-date")


def test_a_count_that_is_overdue(db, settings):
    settings.STUDIO_COUNT_DAYS = 100
    oil = an_oil("olive")
    lot = make_lot(oil, 5 * KG)
    look(100)
    assert not the_open("count-overdue")
    look(101)
    (alert,) = the_open("count-overdue")
    assert (alert.subject, alert.figures["since"]) == ("material:olive", TODAY.isoformat())
    count_lot(Counted(lot_id=lot.pk, found=5 * KG, on=TODAY + timedelta(days=50)), origin=BOOK)
    look(102)
    assert not the_open("count-overdue")
    settings.STUDIO_COUNT_DAYS = 0
    look(900)
    assert not the_open("count-overdue")


def test_one_mail_tells_of_all_kinds_each_in_its_words(db):
    oil = an_oil("olive", name="Olive oil", reorder_point=50 * KG)
    make_lot(oil, 10 * KG, code="L-olive", best_before=TODAY + timedelta(days=3))
    digest = look(2).digest
    kinds = set(Alert.objects.values_list("kind", flat=True))
    assert {"low-stock", "expiring"} <= kinds
    assert digest.subject.startswith("Soap studio: Olive oil runs low; Olive oil, lot L-olive expi")
    for words in ("Runs low\n--------", "Expires before it is used\n", "Reorder point: 50 kg"):
        assert words in digest.body
    assert Digest.objects.count() == 1 and look(2).digest is None


@pytest.fixture
def alert(database):
    an_oil("olive", reorder_point=KG)
    look()
    return Alert.objects.get()


def test_an_acknowledged_alert_stays_open_and_keeps_who_was_first(alert, django_user_model):
    first, second = (django_user_model.objects.create(username=name) for name in "ab")
    acknowledge(alert.pk, by=first, now=NOW)
    seen = acknowledge(alert.pk, by=second, now=NOW + timedelta(hours=1))
    assert (seen.acknowledged_by, seen.acknowledged_at, seen.closed_at) == (first, NOW, None)
    assert look(1).digest is None


def test_a_snoozed_alert_is_told_anew_on_its_day_if_its_cause_still_holds(alert):
    by = person("maker")
    assert snooze(alert.pk, until=TODAY + timedelta(days=7), by=by, now=NOW).snoozed_by == by
    assert look(6).digest is None
    again = look(7)
    alert.refresh_from_db()
    assert (again.opened, alert.digest) == (1, again.digest) and again.digest is not None
    assert (alert.snoozed_until, alert.acknowledged_at, alert.closed_at) == (None, None, None)
    assert alert.snoozed_by is None
    assert look(8).digest is None and Alert.objects.count() == 1


def test_a_snoozed_alert_closes_when_its_cause_is_gone(alert):
    snooze(alert.pk, until=TODAY + timedelta(days=7), by=None, now=NOW)
    make_lot(alert.material, 5 * KG)
    assert look(1).closed == 1
    assert look(7).digest is None


def test_one_that_is_snoozed_before_it_is_told_waits_for_its_day(db):
    an_oil("olive", reorder_point=KG)
    look()
    Alert.objects.update(digest=None)
    Digest.objects.all().delete()
    snooze(Alert.objects.get().pk, until=TODAY + timedelta(days=2), by=None, now=NOW)
    assert look(1).digest is None and look(2).digest is not None


def test_what_cannot_be_snoozed(alert):
    for until in (TODAY, TODAY - timedelta(days=1)):
        with pytest.raises(InvalidInput):
            snooze(alert.pk, until=until, by=None, now=NOW)
    make_lot(alert.material, 5 * KG)
    look(1)
    with pytest.raises(AlertClosed):
        snooze(alert.pk, until=TODAY + timedelta(days=9), by=None, now=NOW)
    with pytest.raises(NotFound):
        acknowledge(alert.pk + 1, by=None, now=NOW)
