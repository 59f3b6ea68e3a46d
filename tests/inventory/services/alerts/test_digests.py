"""Digest mails: sent once, and never lost."""

from datetime import UTC, datetime, timedelta

import pytest
from django.contrib.auth import get_user_model

from inventory.services.alerts.alerts import raise_alerts
from studio.foundation.roles import Role
from studio.models import Membership
from studio.work.digests import NOBODY, Digest, recipients_now, send_digests
from studio.work.leases import claim
from studio.work.mails import CLAIM, MailsSent
from tests.inventory.buying import an_oil
from tests.inventory.making import KG
from tests.threads import at_once

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
LATER = NOW + CLAIM


@pytest.fixture
def mail_to(settings):
    settings.STUDIO_MAIL_TO = ("shelf@example.org",)
    return settings.STUDIO_MAIL_TO


@pytest.fixture
def digest(database):
    an_oil(name="Olive oil", reorder_point=KG)
    return raise_alerts(now=NOW).digest


def someone(name, role, *, email=None, **values):
    user = get_user_model().objects.create(
        username=name, email=f"{name}@example.org" if email is None else email, **values
    )
    if role is not None:
        Membership.objects.create(user=user, role=role)


def test_a_digest_is_sent_once_and_keeps_to_whom(digest, mail_to, mailoutbox):
    assert send_digests(now=NOW) == MailsSent(sent=1)
    assert send_digests(now=LATER) == MailsSent()
    assert [(mail.subject, mail.to) for mail in mailoutbox] == [(digest.subject, list(mail_to))]
    assert mailoutbox[0].body == digest.body
    digest.refresh_from_db()
    assert (digest.sent_at, digest.recipients, digest.attempts) == (NOW, list(mail_to), 1)


def test_workers_that_send_at_once_send_one_mail(digest, mail_to, mailoutbox):
    results = at_once(lambda _: send_digests(now=NOW).sent, range(4))
    assert sorted(results) == [0, 0, 0, 1]
    assert len(mailoutbox) == 1


def test_what_a_dead_worker_claimed_is_sent_when_its_claim_has_run_out(digest, mail_to, mailoutbox):
    assert claim(Digest.objects.all(), digest.pk, now=NOW, lease=CLAIM)
    assert send_digests(now=LATER - timedelta(seconds=1)) == MailsSent()
    assert send_digests(now=LATER) == MailsSent(sent=1)
    digest.refresh_from_db()
    assert (len(mailoutbox), digest.attempts) == (1, 2)


def test_a_mail_sent_twice_carries_the_same_id(digest, mail_to, mailoutbox):
    send_digests(now=NOW)
    # As if the worker had died after sending and before it could say so.
    Digest.objects.update(sent_at=None, claimed_until=LATER)
    send_digests(now=LATER)
    first, second = (mail.message()["Message-ID"] for mail in mailoutbox)
    assert first == second and first


def test_with_nobody_to_send_to_a_digest_is_kept_and_goes_out_later(digest, mailoutbox):
    assert send_digests(now=NOW) == MailsSent(kept=1)
    digest.refresh_from_db()
    assert (digest.trouble, digest.sent_at, digest.attempts) == (NOBODY, None, 0)
    someone("owner", Role.OWNER)
    assert send_digests(now=NOW) == MailsSent(sent=1)
    digest.refresh_from_db()
    assert (digest.trouble, digest.recipients) == ("", ["owner@example.org"])


def test_one_that_fails_is_tried_again_and_holds_up_no_other(digest, mail_to, settings, tmp_path):
    settings.EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    settings.EMAIL_FILE_PATH = tmp_path
    # A header that no mail can carry: the mail library itself refuses it.
    Digest.objects.filter(pk=digest.pk).update(subject="two\nlines")
    an_oil(reorder_point=KG)
    raise_alerts(now=NOW)
    assert send_digests(now=NOW) == MailsSent(sent=1, failed=1)
    digest.refresh_from_db()
    assert digest.trouble.startswith("BadHeaderError") and digest.sent_at is None
    assert send_digests(now=NOW) == MailsSent()
    Digest.objects.filter(pk=digest.pk).update(subject="one line")
    assert send_digests(now=LATER) == MailsSent(sent=1)


def test_without_a_setting_the_owners_who_have_an_address_are_told(database, settings):
    someone("owner", Role.OWNER)
    someone("second", Role.OWNER, email="")
    someone("gone", Role.OWNER, is_active=False)
    someone("maker", Role.MAKER)
    someone("root", None, is_superuser=True)
    someone("stranger", None)
    someone("demoted", Role.VIEWER, is_superuser=True)
    assert recipients_now() == ["owner@example.org", "root@example.org"]
    settings.STUDIO_MAIL_TO = ("shelf@example.org",)
    assert recipients_now() == ["shelf@example.org"]
