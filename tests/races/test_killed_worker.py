"""A worker killed in the middle of its work: exactly one alert and one mail a cause afterwards.

The worker stops at a named place inside the job (see tests.probe) and is killed there with
SIGKILL; another one is started. On the embedded queue the killed worker's task is lost, and the
schedule's next round does it; Redis hands the task itself to the second worker.
"""

import fcntl
from contextlib import contextmanager
from datetime import timedelta
from email import message_from_bytes

import pytest
from django.conf import settings
from django.contrib.auth import get_user_model
from django.utils import timezone

from inventory import tasks
from inventory.models.alerts.alerts import Alert
from studio import tasks as studio_tasks
from studio.foundation.roles import Role
from studio.models import Membership
from studio.work.digests import Digest
from studio.work.mails import CLAIM
from tests import brokers
from tests.inventory.buying import an_oil
from tests.inventory.making import KG
from tests.workers import Worker

WRITTEN = "the alerts and the mail are written, not committed"
COMMITTED = "the alerts are committed, the mail is not sent"
CLAIMED = "the mail is claimed, not sent"


@pytest.fixture
def broker(request, tmp_path):
    yield from brokers.of(request.param, tmp_path)


@pytest.fixture
def workers(database, broker, tmp_path):
    """Starts workers; whatever still runs in the end is killed."""
    started = []

    def start(**more):
        log = tmp_path / f"worker-{len(started)}.log"
        environment = {**broker.environment, **more}
        started.append(Worker(database_url=database.url, log=log, more=environment))
        return started[-1]

    yield start
    for worker in started:
        worker.stop()


@contextmanager
def held(folder):
    """The lock for which a worker waits at its place."""
    with (folder / "held").open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


def an_owner(address):
    user = get_user_model().objects.create(username="owner", email=address)
    Membership.objects.create(user=user, role=Role.OWNER)


def mails_to(address):
    files = sorted((settings.VAR_DIR / "mail").glob("*.log"))
    messages = [message_from_bytes(file.read_bytes()) for file in files]
    return [message["Subject"] for message in messages if message["To"] == address]


def killed_at(place, workers, broker, folder):
    """Have a worker raise alerts, and kill it at a place."""
    with held(folder):
        first = workers(TESTED_STOP=place, TESTED_FOLDER=str(folder))
        broker.send(tasks.raise_alerts)
        first.wait_until((folder / "reached").exists, what=f"the worker stands where {place}")
        first.stop()


@pytest.mark.worker
@pytest.mark.parametrize("place", [WRITTEN, COMMITTED, CLAIMED])
@pytest.mark.parametrize(("broker", "database"), brokers.PAIRS, indirect=True)
def test_one_alert_and_one_mail_after_a_worker_was_killed(
    place, workers, broker, database, tmp_path
):
    address = f"{database.name}-{broker.name}-{len(place)}@example.org"
    an_owner(address)
    oil = an_oil("olive", name="Olive oil", reorder_point=5 * KG)
    killed_at(place, workers, broker, tmp_path)
    assert Alert.objects.count() == (0 if place == WRITTEN else 1)
    assert mails_to(address) == []

    second = workers()
    if not broker.gives_back:
        broker.send(tasks.raise_alerts)
        broker.send(studio_tasks.send_digests)
    if place == CLAIMED:
        # A claim ends by itself; the schedule's round after that sends the mail.
        broker.send(studio_tasks.send_digests, at=(timezone.now() + CLAIM).isoformat())
    second.wait_until(lambda: mails_to(address), what="the mail is sent")
    later = timezone.now() + 2 * CLAIM + timedelta(minutes=1)
    rest = [broker.send(tasks.raise_alerts) for _ in range(2)]
    rest.append(broker.send(studio_tasks.send_digests, at=later.isoformat()))
    second.wait_for(rest)

    (alert,) = Alert.objects.all()
    assert (alert.material, alert.closed_at) == (oil, None)
    assert Digest.objects.get() == alert.digest
    assert mails_to(address) == ["Soap studio: Olive oil runs low"]
