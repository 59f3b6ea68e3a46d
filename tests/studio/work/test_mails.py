"""Mails as rows: claimed by one worker, tried again, never lost. Shown by the mails of digests."""

from datetime import UTC, datetime, timedelta

import pytest
from django.core import mail
from django.core.mail import EmailMessage

from studio.work import mails
from studio.work.digests import Digest
from studio.work.leases import claim
from tests.threads import at_once

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)


@pytest.fixture
def written(database):
    return [Digest.objects.create(subject=f"{n}", body="x") for n in range(3)]


def message(digest):
    return EmailMessage(
        subject=digest.subject,
        to=["a@example.org"],
        headers={"Message-ID": mails.message_id("digest", digest)},
    )


def send(now=NOW, make=message, **more):
    return mails.send_all(Digest.objects.all(), make, now=now, **more)


def test_all_are_sent_once_in_their_order(written):
    assert send(marks={"recipients": ["a@example.org"]}) == mails.MailsSent(sent=3)
    assert send() == mails.MailsSent()
    assert [each.subject for each in mail.outbox] == ["0", "1", "2"]
    assert {tuple(row.recipients) for row in Digest.objects.all()} == {("a@example.org",)}


def test_one_that_fails_waits_for_its_claim_and_holds_up_no_other(written):
    def broken(digest):
        if digest.subject == "1":
            raise OSError("no route")
        return message(digest)

    assert send(make=broken) == mails.MailsSent(sent=2, failed=1)
    failed = Digest.objects.get(sent_at__isnull=True)
    assert (failed.subject, failed.trouble, failed.attempts) == ("1", "OSError: no route", 1)
    assert send(now=NOW + mails.CLAIM - timedelta(seconds=1)) == mails.MailsSent()
    assert send(now=NOW + mails.CLAIM) == mails.MailsSent(sent=1)
    failed.refresh_from_db()
    assert (failed.trouble, failed.claimed_until) == ("", None)


def test_each_is_claimed_by_one_worker(written):
    results = at_once(lambda now: send(now=now), [NOW] * 4)
    assert sum(result.sent for result in results) == 3
    assert sorted(each.subject for each in mail.outbox) == ["0", "1", "2"]


def test_trouble_is_noted_only_on_what_waits(written):
    rows = Digest.objects.all()
    assert claim(rows, written[0].pk, now=NOW, lease=mails.CLAIM)
    assert not claim(rows, written[0].pk, now=NOW, lease=mails.CLAIM)
    mails.note_trouble(rows, [each.pk for each in written], "nobody", now=NOW)
    assert [row.trouble for row in rows.order_by("pk")] == ["", "nobody", "nobody"]
    assert mails.waiting(rows, now=NOW) == [written[1].pk, written[2].pk]


def test_an_id_stays_the_same_and_a_subject_is_one_line(settings):
    settings.DEFAULT_FROM_EMAIL = "Soap <studio@soap.example>"
    assert mails.message_id("quote", Digest(pk=7, created_at=NOW)) == (
        f"<quote-7-{int(NOW.timestamp())}@soap.example>"
    )
    assert mails.one_line("a\nb  c") == "a b c" and len(mails.one_line("x" * 999)) == 200
