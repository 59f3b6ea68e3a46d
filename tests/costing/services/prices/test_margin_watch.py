"""The margin watch: told once with what restores it, closed by itself, and soon after a change."""

import fcntl
from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from django.contrib.auth import get_user_model
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from costing.models.prices.prices import PriceEntry, Product
from costing.models.quotes.quotes import Quote, QuoteLine, QuoteState
from costing.queries.prices.margin_watch import slipped
from costing.services.prices.margin_watch import KIND, TASK
from inventory import tasks
from inventory.models.alerts.alerts import Alert
from inventory.services.alerts.alerts import look_for, raise_alerts
from inventory.services.receiving.deliveries import receive_delivery
from inventory.services.receiving.received import Received, ReceivedLine
from studio.celery import app
from studio.foundation.errors import NotFound
from studio.foundation.roles import Role
from studio.models import Membership
from studio.work.digests import Digest
from tests.costing.priced import a_shelf, dearer, floor_of, priced, quoted
from tests.inventory.making import TODAY
from tests.studio.web.api.people import person
from tests.workers import Worker

NOW = datetime(TODAY.year, TODAY.month, TODAY.day, 12, tzinfo=UTC)
MARGIN = {"kind": KIND}


@pytest.fixture
def shelf(database):
    return a_shelf()


def scan(minutes=0):
    return raise_alerts(now=NOW + timedelta(minutes=minutes))


def open_alerts():
    return Alert.objects.filter(kind=KIND, closed_at=None)


def subjects():
    return {slip.subject for slip in slipped(on=TODAY)}


def test_a_dearer_oil_is_told_once_with_the_price_that_restores_it_and_closes(shelf):
    product, tier, offers = shelf
    floor = floor_of(product, tier)
    priced(product, tier, floor)
    priced(product, tier, floor, from_quantity=48)
    scan()
    assert not open_alerts().exists()

    dearer(offers["olive"], "1.3")
    digest = scan(1).digest
    restoring = floor_of(product, tier)
    assert restoring > floor
    assert set(open_alerts().values_list("subject", flat=True)) == {
        f"price:{product.code}/{tier.code}/1",
        f"price:{product.code}/{tier.code}/48",
    }
    for alert in open_alerts():
        assert alert.digest == digest
        assert alert.figures["restoring_price"] == f"{Decimal(restoring) / 10_000:.2f}"
    assert "are under the floor price" in digest.subject
    assert f"Restored by:   ${Decimal(restoring) / 10_000:.2f}" in digest.body
    assert scan(2).digest is None

    priced(product, tier, restoring, effective_from=TODAY + timedelta(days=1))
    priced(product, tier, restoring, from_quantity=48, effective_from=TODAY + timedelta(days=1))
    assert scan(24 * 60).closed == 2
    assert not open_alerts().exists()
    assert Digest.objects.filter(subject__contains="under the floor price").count() == 1


def test_it_closes_when_the_cost_comes_down_again(shelf):
    product, tier, offers = shelf
    priced(product, tier, floor_of(product, tier))
    dearer(offers["olive"], "1.3")
    scan()
    assert open_alerts().count() == 1
    dearer(offers["olive"], "1")
    assert scan(1).closed == 1


def test_open_quotes_are_told_with_their_discount_and_answered_ones_are_not(shelf):
    product, tier, offers = shelf
    floor = floor_of(product, tier, 24)
    quote = quoted(product, tier, floor + 5_000, discount=Decimal("0.1"))
    assert subjects() == set()
    dearer(offers["olive"], "3")
    (slip,) = slipped(on=TODAY)
    assert slip.subject == f"quote:{quote.code}/1"
    assert (slip.quote, slip.customer, slip.quantity) == (quote.code, quote.customer.name, 24)
    now_floor = floor_of(product, tier, 24)
    assert slip.restoring * Decimal("0.9") >= now_floor
    assert (slip.restoring - tier.step) * Decimal("0.9") < now_floor
    assert slip.margin < tier.floor_margin

    for state, day, told in (
        (QuoteState.SENT, TODAY, True),
        (QuoteState.SENT, TODAY + timedelta(days=31), False),
        (QuoteState.ACCEPTED, TODAY, False),
        (QuoteState.DECLINED, TODAY, False),
    ):
        made = Quote.objects.create(
            code=f"Q-{state}-{day}",
            customer=quote.customer,
            quoted_on=TODAY,
            valid_until=quote.valid_until,
        )
        line = quote.lines.get()
        line.pk, line.quote = None, made
        line.save()
        for step in dict.fromkeys((QuoteState.SENT, state)):  # a quote only moves on
            Quote.objects.filter(pk=made.pk).update(state=step)
        found = {each.quote for each in slipped(on=day)}
        assert (made.code in found) is told


def test_what_an_owner_allowed_is_told_when_the_floor_rises_above_that(shelf):
    product, tier, offers = shelf
    floor = floor_of(product, tier, 24)
    owner = person("owner")
    priced(product, tier, floor - 500, from_quantity=24, override_reason="Regular", by=owner)
    quoted(product, tier, floor - 500, floor=floor, override_reason="Regular", override_by=owner)
    assert subjects() == set()
    dearer(offers["olive"], "1.3")
    assert len(subjects()) == 2


def test_a_quote_without_tax_is_held_to_the_floor_without_tax(shelf):
    product, tier, _ = shelf
    tier.tax_share, tier.tax_included = Decimal("0.2"), True
    tier.save()
    with_tax = floor_of(product, tier, 24)
    quoted(product, tier, with_tax)
    assert subjects() == set()
    QuoteLine.objects.update(price=round(with_tax / Decimal("1.3")))
    (slip,) = slipped(on=TODAY)
    assert with_tax / Decimal("1.2") <= slip.restoring < with_tax / Decimal("1.2") + 2 * tier.step


def test_what_is_not_sold_any_more_keeps_quiet(shelf):
    product, tier, offers = shelf
    priced(product, tier, floor_of(product, tier))
    dearer(offers["olive"], "2")
    assert len(subjects()) == 1
    Product.objects.update(active=False)
    assert subjects() == set()


def test_the_first_of_many_that_ask_answers_for_all(shelf):
    product, tier, offers = shelf
    priced(product, tier, floor_of(product, tier))
    dearer(offers["olive"], "1.3")
    made = look_for(KIND, asked=NOW, now=NOW + timedelta(seconds=1))
    assert (made.opened, made.digest is not None) == (1, True)
    assert look_for(KIND, asked=NOW, now=NOW + timedelta(seconds=2)) is None
    again = look_for(KIND, asked=NOW + timedelta(seconds=3), now=NOW + timedelta(seconds=4))
    assert (again.opened, again.closed, again.digest) == (0, 0, None)
    assert scan(5).digest is None
    assert Digest.objects.count() == open_alerts().count() == 1
    with pytest.raises(NotFound):
        look_for("no-such-kind", asked=NOW, now=NOW)


def many(product, tier, count):
    """So many products of the same recipe, each with a price and in one quote."""
    price = floor_of(product, tier) - 500
    made = Product.objects.bulk_create(
        Product(code=f"bar-{n}", name=f"Bar {n}", formula=product.formula, mold=product.mold)
        for n in range(count)
    )
    PriceEntry.objects.bulk_create(
        PriceEntry(product=each, tier=tier, price=price, effective_from=TODAY) for each in made
    )
    quote = Quote.objects.first() or quoted(product, tier, price)
    start = quote.lines.count() + 1
    QuoteLine.objects.bulk_create(
        QuoteLine(
            quote=quote,
            position=place,
            product=each,
            quantity=24,
            bars_per_carton=24,
            tier=tier,
            price=price,
            amount=price * 24,
        )
        for place, each in enumerate(made, start=start)
    )


def test_a_thousand_products_take_as_many_queries_as_two(db):
    product, tier, _ = a_shelf()
    many(product, tier, 1)
    with CaptureQueriesContext(connection) as few:
        assert len(slipped(on=TODAY)) == 3
    Product.objects.filter(code="bar-0").update(code="first")
    many(product, tier, 999)
    with CaptureQueriesContext(connection) as all_of_them:
        assert len(slipped(on=TODAY)) == 3 + 2 * 999
    assert len(all_of_them) == len(few) <= 20


def mails(database):
    return Digest.objects.filter(sent_at__isnull=False, subject__contains="under the floor")


@pytest.mark.worker
def test_a_worker_tells_soon_after_a_delivery_or_an_offer_and_only_once(live_worker, database):
    user = get_user_model().objects.create(username="owner", email="owner@example.org")
    Membership.objects.create(user=user, role=Role.OWNER)
    product, tier, offers = a_shelf()
    today = timezone.localdate()
    priced(product, tier, floor_of(product, tier), effective_from=today)
    dearer(offers["olive"], "1.3")
    live_worker.wait_until(lambda: mails(database).count() == 1, what="the watch has mailed")
    received = ReceivedLine(material="olive", packs=1, offer=offers["olive"].code)
    receive_delivery(Received(supplier="press", received_on=today, invoice="I-1", lines=[received]))
    asked = timezone.now().isoformat()
    sent = [app.send_task(TASK, kwargs={"kind": KIND, "asked": asked}) for _ in range(2)]
    live_worker.wait_for(str(each.id) for each in sent)
    assert Alert.objects.filter(**MARGIN).count() == 1
    assert mails(database).count() == Digest.objects.count() == 1


WRITTEN = "the alerts and the mail are written, not committed"


@pytest.mark.worker
def test_what_a_killed_worker_left_the_next_round_tells_once(database, tmp_path):
    app.control.purge()
    product, tier, offers = a_shelf()
    priced(product, tier, floor_of(product, tier), effective_from=timezone.localdate())
    started = []

    def start(**more):
        log = tmp_path / f"worker-{len(started)}.log"
        started.append(Worker(database_url=database.url, log=log, more=more))
        return started[-1]

    try:
        with (tmp_path / "held").open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            first = start(TESTED_STOP=WRITTEN, TESTED_FOLDER=str(tmp_path))
            dearer(offers["olive"], "1.3")
            first.wait_until((tmp_path / "reached").exists, what="it has written, not committed")
            first.stop()
        assert not Alert.objects.exists()
        second = start()
        for _ in range(2):
            tasks.raise_alerts.delay()
        second.wait_until(
            lambda: second.log().count("raise_alerts[") >= 4, what="both rounds are done"
        )
        assert Alert.objects.filter(**MARGIN).count() == 1
        assert Digest.objects.filter(subject__contains="under the floor").count() == 1
    finally:
        for worker in started:
            worker.stop()
        app.control.purge()
