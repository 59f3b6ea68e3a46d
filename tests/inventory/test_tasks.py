"""The background tasks, done by a real worker over the real embedded broker."""

import re
from datetime import timedelta
from email import message_from_bytes

import pytest
from django.conf import settings
from django.contrib.auth import get_user_model

from inventory import tasks
from inventory.models.alerts.alerts import Alert
from inventory.models.stock.reservations import ReservationState
from inventory.services.stock.reservations import Holding, reserve
from studio import tasks as studio_tasks
from studio.foundation.roles import Role
from studio.models import Membership
from studio.work.digests import Digest
from tests.inventory.buying import an_oil
from tests.inventory.making import KG, TODAY, make_lot

SCANS = 3


def mails_to(address):
    """Messages that the worker's file-based mail backend wrote for an address."""
    files = sorted((settings.VAR_DIR / "mail").glob("*.log"))
    messages = [message_from_bytes(file.read_bytes()) for file in files]
    return [message for message in messages if message["To"] == address]


def done(worker, task):
    """How many tasks of a name the worker says it has done."""
    return len(re.findall(rf"\.tasks\.{task}\[[^]]+\] succeeded in", worker.log()))


@pytest.mark.worker
def test_a_worker_scans_the_shelf_and_mails_one_digest(live_worker, database):
    address = f"{database.name}@example.org"
    owner = get_user_model().objects.create(username="owner", email=address)
    Membership.objects.create(user=owner, role=Role.OWNER)
    oil = an_oil("olive", name="Olive oil", reorder_point=5 * KG)
    for _ in range(SCANS):
        tasks.raise_alerts.delay()
    studio_tasks.send_digests.delay()
    # The scan that opened the alert asked for one more round of sending; other tasks may follow it.
    live_worker.wait_until(
        lambda: (
            done(live_worker, "raise_alerts") >= SCANS and done(live_worker, "send_digests") >= 2
        ),
        what="all tasks are done",
    )
    assert Alert.objects.get().material == oil
    assert Digest.objects.get().sent_at is not None
    (mail,) = mails_to(address)
    assert mail["Subject"] == "Soap studio: Olive oil runs low"
    assert "Reorder point: 5 kg" in mail.get_payload()


def test_reservations_past_their_date_are_given_back_on_the_day_asked_for(database):
    oil = an_oil()
    lot = make_lot(oil, KG)
    held = reserve(
        Holding(needs={oil.pk: KG}, holder="batch:1", on=TODAY, expires_on=TODAY)
    ).reservation
    tasks.expire_reservations(at=f"{TODAY}T23:59:59+00:00")
    held.refresh_from_db()
    assert held.state == ReservationState.OPEN
    for _ in range(2):
        tasks.expire_reservations(at=f"{TODAY + timedelta(days=1)}T00:00:00+00:00")
    held.refresh_from_db()
    lot.refresh_from_db()
    assert (held.state, lot.reserved) == (ReservationState.EXPIRED, 0)
