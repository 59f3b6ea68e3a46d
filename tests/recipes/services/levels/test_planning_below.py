"""What must be made first for a batch planned already: the same as before it was planned."""

from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from recipes.errors import BatchConflict
from recipes.models.bench.batches import Batch
from recipes.services.bench.batches import cancel_batch
from recipes.services.levels.explosion import explode_plan
from recipes.services.levels.multilevel import explode_batch, plan_below
from recipes.services.scaling.planning import plan_batch
from tests.recipes.levels import fill, make_levels, soap_plan
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db


@pytest.fixture
def day():
    fill(make_levels())
    return timezone.localdate() + timedelta(days=30)


def outputs(exploded):
    return {one.need.material: one.sized.output for one in exploded.found.proposals}


def test_its_own_requirement_is_not_counted_beside_it(day):
    plan = soap_plan()
    before = outputs(explode_plan(plan, on=day))
    batch = plan_batch(plan, planned_on=day)
    assert before and outputs(explode_batch(batch.code)) == before


def test_planned_again_it_adds_nothing(day):
    batch = plan_batch(soap_plan(), planned_on=day)
    making = plan_below(batch.code).making
    assert making and all(one.planned_for_id == batch.pk for one in making)
    assert plan_below(batch.code).making == ()
    assert Batch.objects.count() == 1 + len(making)


def test_only_for_a_batch_that_is_planned(day):
    batch = plan_batch(soap_plan(), planned_on=day)
    cancel_batch(batch.code)
    with pytest.raises(BatchConflict):
        plan_below(batch.code)


def test_the_tree_is_planned_reserved_and_called_off_on_pages(day):
    batch = plan_batch(soap_plan(), planned_on=day)
    client = Client()
    client.force_login(person("maker"))
    parts = client.get(f"/batches/{batch.code}/parts/")
    assert parts.status_code == 200 and b"<svg" in parts.content
    for verb, more in (("parts/plan", {}), ("reserve", {}), ("cancel", {"with_making": "on"})):
        done = client.post(f"/batches/{batch.code}/{verb}/", {"once": verb, **more})
        assert done.status_code == 303, verb
    assert Batch.objects.count() > 1
    assert set(Batch.objects.values_list("state", flat=True)) == {"cancelled"}
