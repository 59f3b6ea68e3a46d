"""The demonstration's rise of a price is one change, and what is shown was looked for after it."""

from datetime import timedelta

import pytest
from django.utils import timezone

from inventory.models.alerts.alerts import JobRun
from inventory.queries.catalog.offers import current_offers
from inventory.services.alerts.alerts import ALERTS_JOB, job_of
from studio.management.demo import price_rise
from studio.management.demo.alerts import looked_since
from studio.management.demo.shelf import load_shelf
from studio.management.demo.tables import Printer

pytestmark = pytest.mark.django_db
KIND = price_rise.KIND


class Once:
    """A service whose workers have done what they will do: it is asked once."""

    def wait_for(self, ready, *, seconds):
        return ready()


def prices(on):
    offers = current_offers(on).filter(material__code="olive-oil")
    return sorted(offers.values_list("code", "price"))


def test_no_offer_is_dearer_before_all_are_and_the_delivery_is_in(monkeypatch):
    load_shelf()
    today = timezone.localdate()
    before = prices(today)
    seen = []

    def broken_off(*_):
        seen.append(prices(today))
        raise KeyboardInterrupt

    monkeypatch.setattr(price_rise, "_receive", broken_off)
    with pytest.raises(KeyboardInterrupt):
        price_rise.receive_rise(Printer(), Once(), today)
    assert len(before) > 1 and all(
        new > old for (_, old), (_, new) in zip(before, seen[0], strict=True)
    )
    assert prices(today) == before


@pytest.mark.parametrize(
    ("job", "seconds", "kind", "counts"),
    [
        (ALERTS_JOB, 1, "", True),
        (ALERTS_JOB, 1, KIND, True),
        (job_of(KIND), 1, KIND, True),
        (job_of(KIND), 1, "", False),
        (job_of("expiry"), 1, KIND, False),
        (ALERTS_JOB, -1, KIND, False),
        (job_of(KIND), -1, KIND, False),
    ],
)
def test_only_a_look_that_began_after_the_change_and_for_its_kind_counts(
    job, seconds, kind, counts
):
    since = timezone.now()
    JobRun.objects.create(name=job, last_run_at=since + timedelta(seconds=seconds))
    assert looked_since(Once(), since, kind=kind) is counts
