"""Leased rows: one worker at a time; who lost a row leaves nothing. Shown by four tables."""

from datetime import UTC, datetime, timedelta

import pytest
from django.contrib.auth import get_user_model
from django.db import transaction

from studio.models import ImportRun, WebhookDelivery, WebhookTarget
from studio.work.digests import Digest
from studio.work.jobs import Job
from studio.work.leases import PATIENCE, TakenOver, claim, overdue
from tests.threads import at_once

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
LEASE = timedelta(minutes=7)
END = NOW + LEASE


def a_digest():
    return Digest.objects.create(subject="x", body="x")


def a_job():
    whole = Job.objects.create(name="x", state="running", lease_until=NOW + PATIENCE)
    return Job.objects.create(name="x", parent=whole, lease_until=NOW + PATIENCE)


def an_import():
    by = get_user_model().objects.create(username="maker")
    return ImportRun.objects.create(
        table="materials", mode="create", by=by, created_at=NOW, lease_until=NOW + PATIENCE
    )


def a_message():
    target = WebhookTarget.objects.create(code="planner", url="https://one.example", secret="x")
    return WebhookDelivery.objects.create(
        target=target, event_id="x", event="x", body="{}", next_attempt_at=NOW
    )


@pytest.fixture(params=[a_digest, a_job, an_import, a_message])
def row(request, database):
    return request.param()


def taken(row, now=NOW):
    return claim(type(row).objects.all(), row.pk, now=now, lease=LEASE)


def test_one_of_many_workers_gets_it_until_its_lease_ends(row):
    got = [each for each in at_once(lambda _: taken(row), range(4)) if each is not None]
    assert len(got) == 1 and got[0].attempts == 1
    assert taken(row, END - timedelta(seconds=1)) is None
    assert taken(row, END).attempts == 2


def test_whoever_lost_it_leaves_nothing(row):
    late, other = taken(row), taken(row, END)
    with pytest.raises(TakenOver):
        late.settle(trouble="late")
    with pytest.raises(TakenOver):
        late.renew(END + LEASE)
    with pytest.raises(TakenOver), transaction.atomic():
        late.hold()
    with transaction.atomic():
        other.hold()
        other.settle(trouble="first")
    row.refresh_from_db()
    assert (row.trouble, row.attempts) == ("first", 2)


def test_a_lease_that_is_renewed_lasts_longer(row):
    mine = taken(row)
    mine.renew(END + LEASE, trouble="half of it")
    assert taken(row, END) is None
    mine.settle(trouble="all of it")
    assert taken(row, END + LEASE) is not None


@pytest.mark.parametrize("make", [a_job, an_import])
def test_what_nobody_finished_in_time_is_sent_again_and_waited_for(db, make):
    row = make()
    rows = type(row).objects.all()
    early = NOW + PATIENCE - timedelta(seconds=1)
    assert overdue(rows, now=early) == []
    assert overdue(rows, now=NOW + PATIENCE) == [row.pk]
    assert overdue(rows, now=NOW + PATIENCE) == []  # it was just sent
    assert taken(row, NOW + PATIENCE) is not None
    ended = NOW + PATIENCE + LEASE
    assert overdue(rows, now=ended) == overdue(rows, now=ended) == [row.pk]  # a worker died
