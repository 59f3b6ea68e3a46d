"""Each entry of the schedule is sent once a period, however many schedulers run."""

import json
from datetime import UTC, datetime, timedelta

import pytest
from django.conf import settings
from hypothesis import HealthCheck, given
from hypothesis import settings as examples
from hypothesis import strategies as st

from studio.celery import app
from studio.models import ScheduleClaim
from studio.work.beat import OncePerPeriod, claim_period
from tests import brokers
from tests.threads import at_once
from tests.workers import BEAT, Worker

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
ENTRY = "raise-alerts"
PERIODS = 4


def test_of_many_at_once_one_claims_a_period(database):
    for turn in range(3):
        now = NOW + timedelta(seconds=60 * turn)
        won = at_once(lambda _, now=now: claim_period("a", seconds=60, now=now), range(6))
        assert sorted(won) == [False] * 5 + [True]


@examples(
    max_examples=60,
    # The rows are deleted at the start of each example.
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    seconds=st.sampled_from([0.5, 1, 60, 300, 3_600]),
    moments=st.lists(st.integers(0, 20_000), min_size=1, max_size=30),
)
def test_never_twice_in_a_period_and_always_in_a_later_one(db, seconds, moments):
    ScheduleClaim.objects.all().delete()
    won = []
    for moment in moments:
        now = datetime.fromtimestamp(moment / 4, UTC)
        period = int(moment / 4 // seconds)
        claimed = claim_period("a", seconds=seconds, now=now)
        assert claimed is (not won or period > won[-1])
        won += [period] if claimed else []


def test_entries_do_not_share_a_period(db):
    assert claim_period("a", seconds=60, now=NOW) and claim_period("b", seconds=60, now=NOW)


def test_another_length_counts_anew(db):
    assert claim_period("a", seconds=60, now=NOW)
    assert claim_period("a", seconds=3_600, now=NOW)
    assert not claim_period("a", seconds=3_600, now=NOW)


def test_a_scheduler_that_starts_again_goes_on_where_it_was(db):
    claim_period(ENTRY, seconds=300, now=NOW)
    scheduler = OncePerPeriod(app)
    assert scheduler.schedule[ENTRY].last_run_at == NOW
    assert set(scheduler.schedule) == set(app.conf.beat_schedule)
    due, _ = scheduler.schedule[ENTRY].is_due()
    assert due


@pytest.fixture
def queue():
    yield from brokers.embedded()


def sent():
    """How often the schedule's entry was put into the embedded queue."""
    folder = settings.VAR_DIR / "broker" / "messages"
    messages = [json.loads(file.read_text(encoding="utf-8")) for file in folder.glob("*.msg")]
    return [m["headers"]["task"] for m in messages].count("inventory.tasks.raise_alerts")


def claimed_period():
    return ScheduleClaim.objects.filter(name=ENTRY).values_list("period", flat=True).first()


@pytest.fixture
def schedulers(database, queue, tmp_path):
    """Two schedulers, which send the entry every second."""
    started = [
        Worker(
            database_url=database.url,
            log=tmp_path / f"beat-{number}.log",
            more={"STUDIO_ALERT_SECONDS": "1"},
            command=BEAT,
        )
        for number in range(2)
    ]
    yield started
    for each in started:
        each.stop()


@pytest.mark.worker
def test_two_schedulers_send_once_a_period_and_one_goes_on_alone(schedulers):
    def wait_until_tried(times):
        for each in schedulers:
            each.wait_until(
                lambda each=each: each.log().count(f"Sending due task {ENTRY}") >= times,
                what="the scheduler has tried",
            )

    wait_until_tried(2)  # it is logged before it is done: the first is done now
    period, count = claimed_period(), sent()
    wait_until_tried(2 + PERIODS)
    more, periods = sent() - count, claimed_period() - period
    assert "Traceback" not in "".join(each.log() for each in schedulers)
    # One may be under way at either end; two that know nothing of each other would send twice.
    assert PERIODS - 1 <= more <= periods + 1
    first, second = schedulers
    first.stop()
    period = claimed_period()
    second.wait_until(lambda: claimed_period() >= period + 2, what="the other goes on alone")
