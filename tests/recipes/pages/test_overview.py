"""What the first page says of batches and of low stock."""

from datetime import timedelta

import pytest
from django.contrib.auth import get_user_model
from django.utils import timezone

from inventory.services.alerts import raise_alerts
from recipes.services.batches import cancel_batch
from studio.models import Membership
from studio.roles import Role
from tests.inventory.making import KG, make_lot, make_material
from tests.recipes.making import make_bench, planned


@pytest.fixture
def viewer(db, client):
    user = get_user_model().objects.create_user("vera")
    Membership.objects.create(user=user, role=Role.VIEWER)
    client.force_login(user)
    return client


def test_it_names_what_runs_low_and_which_batches_are_under_way(viewer):
    clay = make_material("blue-clay", reorder_point=2 * KG)
    make_lot(clay, KG)
    raise_alerts(now=timezone.now() - timedelta(days=3))
    due, dropped = (planned(make) for make in [make_bench()] * 2)
    cancel_batch(dropped.code)
    page = viewer.get("/").content.decode()
    assert "Blue clay" in page and "3 days" in page
    assert due.code in page and dropped.code not in page
    assert "1 batch between the plan and cured bars." in page


def test_it_says_so_when_there_is_nothing(viewer):
        page = viewer.get("/").content.decode()
    assert "Nothing needs you right now." in page
    assert "No batch is under way." in page
