"""What the first page says of batches."""

from datetime import timedelta

import pytest
from django.contrib.auth import get_user_model
from django.utils import timezone

from recipes.models.bench.batches import Batch
from recipes.services.bench.batches import cancel_batch
from studio.foundation.roles import Role
from studio.models import Membership
from tests.read_pages import read
from tests.recipes.making import make_bench, planned


@pytest.fixture
def viewer(db, client):
    user = get_user_model().objects.create_user("vera")
    Membership.objects.create(user=user, role=Role.VIEWER)
    client.force_login(user)
    return client


def test_it_names_which_batches_are_under_way_and_what_is_due(viewer):
    due, dropped = (planned(make) for make in [make_bench()] * 2)
    cancel_batch(dropped.code)
    page = read(viewer.get("/"))
    assert due.code in page and dropped.code not in page
    assert "1 batch between the plan and cured bars." in page
    Batch.objects.filter(pk=due.pk).update(planned_on=timezone.localdate())
    assert "1 batch to reserve." in read(viewer.get("/"))
    Batch.objects.update(planned_on=timezone.localdate() + timedelta(days=3))
    assert "Nothing needs you right now." in read(viewer.get("/"))


def test_it_says_so_when_there_is_nothing(viewer):
    page = read(viewer.get("/"))
    assert "Nothing needs you right now." in page
    assert "No batch is under way." in page
