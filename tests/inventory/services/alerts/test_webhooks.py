"""Other programs are told of alerts: signed, once an event, tried again, given up, sent again."""

import base64
import hashlib
import hmac
import json
from datetime import UTC, datetime, timedelta

import pytest

from inventory.models.alerts.alerts import Alert
from inventory.services.alerts.alerts import raise_alerts
from studio.foundation.errors import NotFound
from studio.models import WebhookDelivery, WebhookTarget
from studio.work.leases import claim
from studio.work.webhooks.sending import CLAIM, Posted, new_secret, resend, send_webhooks
from studio.work.webhooks.signing import MOST_ATTEMPTS, WebhookDelivered, wait_after
from tests.inventory.buying import an_oil
from tests.inventory.making import KG, TODAY, make_lot
from tests.inventory.services.alerts.webhook_receiver import receiver
from tests.threads import at_once

NOW = datetime(TODAY.year, TODAY.month, TODAY.day, 12, tzinfo=UTC)


@pytest.fixture
def program():
    with receiver() as found:
        yield found


@pytest.fixture
def target(database, program):
    return a_target(program.url)


def a_target(url, code="planner", **values):
    return WebhookTarget.objects.create(code=code, url=url, secret=new_secret(), **values)


def runs_low(code="olive"):
    oil = an_oil(code, name=code.capitalize(), reorder_point=KG)
    raise_alerts(now=NOW)
    return oil


def test_an_alert_is_told_when_it_opens_and_when_it_closes(target, program):
    oil = runs_low()
    assert send_webhooks(now=NOW) == Posted(delivered=1)
    make_lot(oil, 5 * KG)
    raise_alerts(now=NOW + timedelta(minutes=5))
    assert send_webhooks(now=NOW + timedelta(minutes=5)) == Posted(delivered=1)
    opened, closed = (json.loads(body) for _, body in program.received)
    assert (opened["type"], closed["type"]) == ("alert.opened", "alert.closed")
    data = opened["data"]
    assert (data["kind"], data["subject"], data["alert"]) == (
        "low-stock",
        "material:olive",
        Alert.objects.get().pk,
    )
    assert data["figures"]["projected"] == {"amount": "0", "unit": "g"}
    assert data["figures"]["reorder_point"] == {"amount": "1000", "unit": "g"}
    assert (data["closed_at"], closed["data"]["closed_at"] is None) == (None, False)


def test_the_signature_is_what_the_specification_says(target, program):
    runs_low()
    send_webhooks(now=NOW)
    ((headers, body),) = program.received
    key = base64.b64decode(target.secret.removeprefix("whsec_"))
    signed = f"{headers['webhook-id']}.{headers['webhook-timestamp']}.".encode() + body
    wanted = base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode()
    assert headers["webhook-signature"] == f"v1,{wanted}"
    assert headers["content-type"] == "application/json"
    assert 24 <= len(key) <= 64


def test_a_program_that_fails_twice_gets_it_a_third_time_with_the_same_id(target, program):
    runs_low()
    program.answers = [500, 503]
    assert send_webhooks(now=NOW) == Posted(failed=1)
    delivery = WebhookDelivery.objects.get()
    assert (delivery.status, delivery.next_attempt_at) == (500, NOW + timedelta(minutes=1))
    early = NOW + timedelta(seconds=59)
    assert send_webhooks(now=early) == Posted()
    second = NOW + timedelta(minutes=1)
    assert send_webhooks(now=second) == Posted(failed=1)
    assert send_webhooks(now=second + timedelta(minutes=4)) == Posted(delivered=1)
    delivery.refresh_from_db()
    assert (delivery.attempts, delivery.trouble, delivery.status) == (3, "", 204)
    assert delivery.delivered_at == second + timedelta(minutes=4)
    assert {headers["webhook-id"] for headers, _ in program.received} == {delivery.event_id}
    assert len({body for _, body in program.received}) == 1


def test_after_the_last_attempt_it_is_dead_until_somebody_asks_again(target, program):
    runs_low()
    program.answers = [500] * MOST_ATTEMPTS
    now = NOW
    for attempt in range(1, MOST_ATTEMPTS + 1):
        last = attempt == MOST_ATTEMPTS
        assert send_webhooks(now=now) == (Posted(dead=1) if last else Posted(failed=1))
        now += wait_after(attempt) or timedelta()
    dead = WebhookDelivery.objects.get()
    assert dead.dead_at == now and "500" in dead.trouble
    assert send_webhooks(now=now + timedelta(days=30)) == Posted()
    assert resend(dead.pk, now=now).dead_at is None
    assert send_webhooks(now=now) == Posted(delivered=1)
    assert len(program.received) == MOST_ATTEMPTS + 1
    with pytest.raises(WebhookDelivered):
        resend(dead.pk, now=now)
    with pytest.raises(NotFound):
        resend(dead.pk + 1, now=now)


def test_workers_that_send_at_once_send_it_once(target, program):
    runs_low()
    done = at_once(lambda _: send_webhooks(now=NOW).delivered, range(4))
    assert sorted(done) == [0, 0, 0, 1]
    assert len(program.received) == 1


def test_what_a_dead_worker_claimed_is_sent_when_its_claim_has_run_out(target, program):
    runs_low()
    pk = WebhookDelivery.objects.get().pk
    assert claim(WebhookDelivery.objects.all(), pk, now=NOW, lease=CLAIM)
    assert send_webhooks(now=NOW + CLAIM - timedelta(seconds=1)) == Posted()
    assert send_webhooks(now=NOW + CLAIM) == Posted(delivered=1)


def test_a_redirect_is_not_followed(target, program):
    runs_low()
    program.answers = [307]
    assert send_webhooks(now=NOW) == Posted(failed=1)
    assert len(program.received) == 1
    assert WebhookDelivery.objects.get().status == 307


@pytest.mark.parametrize(
    ("url", "trouble"),
    [
        ("http://169.254.169.254/latest/", "WebhookRefusal"),
        ("file:///etc/passwd", "WebhookRefusal"),
        ("http://127.0.0.1:1/", "refused"),
        ("http://name.invalid/", "gaierror"),
    ],
)
def test_what_cannot_be_reached_says_why(database, url, trouble):
    a_target(url)
    runs_low()
    assert send_webhooks(now=NOW) == Posted(failed=1)
    assert trouble in WebhookDelivery.objects.get().trouble


def test_a_target_hears_only_of_the_kinds_it_wants_and_while_it_is_active(database, program):
    wants = a_target(program.url, code="wants", kinds=["low-stock"])
    a_target(program.url, code="others", kinds=["late-delivery"])
    a_target(program.url, code="off", active=False)
    runs_low()
    assert WebhookDelivery.objects.get().target == wants
    WebhookTarget.objects.update(active=False)
    assert send_webhooks(now=NOW) == Posted()
    assert program.received == []


def test_a_round_that_fails_tells_nobody(target, program, monkeypatch):
    an_oil(reorder_point=KG)
    with monkeypatch.context() as broken:
        broken.setattr("inventory.services.alerts.alerts.TEMPLATE", "inventory/no_such.txt")
        with pytest.raises(Exception, match="no_such"):
            raise_alerts(now=NOW)
    assert not WebhookDelivery.objects.exists()
