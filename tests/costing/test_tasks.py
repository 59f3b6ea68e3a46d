"""Costing in the background, by real workers over the embedded broker."""

import fcntl
import re
from contextlib import contextmanager
from datetime import timedelta
from email import message_from_bytes

import pytest
from django.conf import settings
from django.utils import timezone

from costing import tasks
from costing.models.quotes.quotes import Quote, QuoteMail
from costing.services.quotes.quotes import send_quote
from studio.celery import app
from studio.work.mails import CLAIM
from tests.costing.services.quotes.test_quotes import a_draft, a_shop
from tests.workers import Worker


def mails_to(address):
    files = sorted((settings.VAR_DIR / "mail").glob("*.log"))
    messages = [message_from_bytes(file.read_bytes()) for file in files]
    return [message for message in messages if message["To"] == address]


def done(worker, task):
    """How often the worker has done a task of costing; other tasks may wake it too."""
    return len(re.findall(rf"costing\.tasks\.{task}\[\S+\] succeeded", worker.log()))


def a_sent_quote(address):
    a_shop(email=address)
    today = timezone.localdate()
    return send_quote(a_draft(on=today, valid_until=today).code, on=today)


@pytest.mark.worker
def test_a_worker_is_woken_mails_the_letter_and_expires_what_is_over(live_worker, database):
    address = f"quote-{database.name}@example.org"
    quote = a_sent_quote(address)
    live_worker.wait_until(lambda: mails_to(address), what="the mail is sent")
    (message,) = mails_to(address)
    attached = [part.get_content_type() for part in message.walk()]
    assert "application/pdf" in attached and quote.code in message["Subject"]
    tomorrow = timezone.now() + timedelta(days=1)
    for _ in range(2):
        tasks.expire_quotes.delay(at=tomorrow.isoformat())
        tasks.send_quote_mails.delay()
    live_worker.wait_until(
        lambda: (
            (done(live_worker, "send_quote_mails"), done(live_worker, "expire_quotes")) == (3, 2)
        ),
        what="all tasks are done",
    )
    assert Quote.objects.get().state == "expired" and len(mails_to(address)) == 1


@contextmanager
def held(folder):
    with (folder / "held").open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


@pytest.fixture
def workers(database, tmp_path):
    """Starts workers; whatever still runs in the end is killed."""
    started = []

    def start(**more):
        log = tmp_path / f"worker-{len(started)}.log"
        started.append(Worker(database_url=database.url, log=log, more=more))
        return started[-1]

    app.control.purge()
    yield start
    for worker in started:
        worker.stop()
    app.control.purge()


@pytest.mark.worker
def test_a_killed_worker_leaves_one_mail(workers, database, tmp_path):
    """Killed when it has claimed the mail and not sent it: another sends it after the claim."""
    address = f"killed-{database.name}@example.org"
    with held(tmp_path):
        first = workers(TESTED_STOP="the mail is claimed, not sent", TESTED_FOLDER=str(tmp_path))
        a_sent_quote(address)
        first.wait_until((tmp_path / "reached").exists, what="the mail is claimed")
        first.stop()
    kept = QuoteMail.objects.get()
    assert (kept.sent_at, kept.attempts, mails_to(address)) == (None, 1, [])
    second = workers()
    later = timezone.now() + CLAIM + timedelta(minutes=1)
    tasks.send_quote_mails.delay()
    for _ in range(2):
        tasks.send_quote_mails.delay(at=later.isoformat())
    second.wait_until(lambda: done(second, "send_quote_mails") >= 3, what="all rounds are done")
    kept.refresh_from_db()
    assert kept.sent_at is not None and kept.attempts == 2
    (message,) = mails_to(address)
    assert message["Message-ID"].startswith(f"<quote-{kept.pk}-")
