"""Alerts, by the example of low stock: opened once, followed, closed, and told of once."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from inventory.domain.catalog.materials import MaterialKind
from inventory.models.alerts.alerts import Alert
from inventory.models.catalog.materials import Material
from inventory.services.alerts.alerts import raise_alerts
from inventory.services.buying.requirements import require
from studio.work.digests import Digest
from tests.inventory.buying import a_supplier, an_offer, an_oil, an_order, boxes
from tests.inventory.making import KG, TODAY, make_lot
from tests.threads import at_once

NOW = datetime(TODAY.year, TODAY.month, TODAY.day, 12, tzinfo=UTC)


def scan(minutes=0):
    return raise_alerts(now=NOW + timedelta(minutes=minutes))


def did(result):
    return (result.opened, result.updated, result.closed, result.digest is not None)


def test_an_alert_is_opened_followed_closed_and_later_opened_anew(database):
    oil = an_oil("olive", reorder_point=5 * KG)
    make_lot(oil, 4 * KG)
    assert did(scan(0)) == (1, 0, 0, True)
    assert did(scan(1)) == (0, 0, 0, False)

    require({oil.pk: 3 * KG}, holder="batch:1", due_on=TODAY)
    assert did(scan(2)) == (0, 1, 0, False)
    alert = Alert.objects.get()
    figures = alert.figures
    assert (figures["projected"], figures["planned"], figures["on_hand"]) == (KG, 3 * KG, 4 * KG)
    assert (alert.opened_at, alert.updated_at) == (NOW, NOW + timedelta(minutes=2))
    assert "3 kg for planned batches" in alert.reason

    make_lot(oil, 9 * KG)
    assert did(scan(3)) == (0, 0, 1, False)
    alert.refresh_from_db()
    assert alert.closed_at == NOW + timedelta(minutes=3)

    require({oil.pk: 12 * KG}, holder="batch:1", due_on=TODAY)
    assert did(scan(4)) == (1, 0, 0, True)
    assert Alert.objects.count() == Digest.objects.count() == 2


def test_at_the_reorder_point_is_low_and_above_it_is_not(database):
    at_it, above = (an_oil(reorder_point=KG) for _ in range(2))
    make_lot(at_it, KG)
    make_lot(above, KG + 1)
    assert did(scan()) == (1, 0, 0, True)
    assert Alert.objects.get().material == at_it


def test_without_a_reorder_point_only_what_is_missing_is_told(database):
    an_oil()
    short = an_oil()
    require({short.pk: KG}, holder="batch:1", due_on=TODAY)
    assert did(scan()) == (1, 0, 0, True)
    assert Alert.objects.get().figures["projected"] == -KG


def test_what_wants_no_alerts_gets_none_and_loses_the_one_it_had(database):
    an_oil(reorder_point=KG, low_stock_alerts=False)
    an_oil(reorder_point=KG, active=False)
    an_oil(reorder_point=1, kind=MaterialKind.BAR, counted=True)
    silenced = an_oil(reorder_point=KG)
    assert did(scan()) == (1, 0, 0, True)
    Material.objects.filter(pk=silenced.pk).update(low_stock_alerts=False)
    assert did(scan(1)) == (0, 0, 1, False)


def test_stock_on_order_keeps_quiet(database):
    oil = an_oil(reorder_point=KG)
    an_order(an_offer(a_supplier(), oil, "5 kg"), 1)
    assert did(scan()) == (0, 0, 0, False)


def test_stock_that_expires_overnight_is_missed_the_next_day(database):
    oil = an_oil(reorder_point=KG)
    make_lot(oil, 5 * KG, best_before=TODAY)
    low = Alert.objects.filter(kind="low-stock")
    scan()
    assert not low.exists()
    scan(24 * 60)
    assert low.exists()


def test_one_digest_tells_of_all_that_is_new_with_reason_and_best_offer(database):
    oil = an_oil("olive", name="Olive oil", reorder_point=5 * KG, density_g_ml=Decimal("0.915"))
    box = boxes("carton", name="Carton", reorder_point=20)
    make_lot(oil, KG)
    make_lot(box, 12)
    supplier = a_supplier("press", name="Invented Press", lead_time_days=1)
    an_offer(supplier, oil, "1 gal", 250_000, minimum_packs=4)
    digest = scan().digest
    assert {alert.digest for alert in Alert.objects.all()} == {digest}
    assert digest.subject == "Soap studio: Carton, Olive oil run low"
    for words in (
        "Olive oil (olive)\n  Projected:     1 kg\n  Reorder point: 5 kg",
        f"Why:           {Alert.objects.get(material=oil).reason}",
        "Best offer:    Invented Press, 1 gal for $25.00, at least 4 packs, 1 day to come",
        "Carton (carton)\n  Projected:     12 each\n  Reorder point: 20 each",
        "Best offer:    no supplier offers it at present",
    ):
        assert words in digest.body


def test_a_name_with_line_breaks_and_markup_stays_text(database):
    an_oil("oil", name="Oil <b>&\nBcc: all", reorder_point=KG)
    digest = scan().digest
    assert digest.subject == "Soap studio: Oil <b>& Bcc: all runs low"
    assert "Oil <b>& Bcc: all (oil)" in digest.body


def test_workers_that_scan_at_once_open_one_alert_and_write_one_digest(database):
    oils = [an_oil(reorder_point=KG) for _ in range(5)]
    results = at_once(lambda _: did(scan()), range(4))
    assert sorted(results) == [(0, 0, 0, False)] * 3 + [(5, 0, 0, True)]
    assert {alert.material for alert in Alert.objects.all()} == set(oils)
    assert Alert.objects.count() == 5
    assert Digest.objects.count() == 1


def test_the_database_itself_refuses_a_second_open_alert(database):
    an_oil(reorder_point=KG)
    scan()
    alert = Alert.objects.get()
    alert.pk = None
    with pytest.raises(IntegrityError), transaction.atomic():
        alert.save(force_insert=True)


def test_a_scan_that_fails_leaves_neither_alert_nor_digest(database, monkeypatch):
    an_oil(reorder_point=KG)
    with monkeypatch.context() as broken:
        broken.setattr("inventory.services.alerts.alerts.TEMPLATE", "inventory/no_such.txt")
        with pytest.raises(Exception, match="no_such"):
            scan()
    assert not Digest.objects.exists() and not Alert.objects.exists()
    assert did(scan()) == (1, 0, 0, True)


@pytest.mark.parametrize("materials", [3, 30])
def test_a_scan_takes_the_same_queries_for_any_number_of_materials(database, materials):
    def low_ones():
        return [an_oil(reorder_point=KG) for _ in range(materials)]

    recovering, followed = low_ones(), low_ones()
    scan()
    for oil in recovering:
        make_lot(oil, 2 * KG)
    for oil in followed:
        make_lot(oil, KG // 2)
    low_ones()
    with CaptureQueriesContext(connection) as captured:
        assert did(scan(1)) == (materials, materials, materials, True)
    control = ("BEGIN", "COMMIT", "SAVEPOINT", "RELEASE")
    made = [q["sql"] for q in captured if not q["sql"].startswith(control)]
    # Low stock: positions 5, open alerts, closed, brought up to date, opened, whom to tell. Seven
    # other causes: what holds (the cure in two), open alerts. Margins: prices, quotes, open
    # alerts. The mail: untold alerts, offers, digest, told alerts.
    # The run; and on PostgreSQL the turns of the round and of the mail.
    assert len(made) == 10 + 7 * 2 + 1 + 3 + 4 + 1 + (2 if database.name == "postgres" else 0)
