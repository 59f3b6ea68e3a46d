"""What planners need is replaced as a whole and forgotten as a whole."""

import pytest
from django.db import IntegrityError, transaction

from inventory.models import Requirement
from inventory.services.requirements import require, withdraw
from tests.inventory.making import KG, TODAY, make_material

pytestmark = pytest.mark.django_db


def needed(holder):
    rows = Requirement.objects.filter(holder=holder)
    return {row.material_id: row.amount for row in rows}


def test_the_last_plan_counts_and_nothing_is_not_needed():
    oil, clay, lye = make_material(), make_material(), make_material()
    require({oil.pk: KG, clay.pk: 1}, holder="a", due_on=TODAY)
    require({oil.pk: 2 * KG, lye.pk: 0}, holder="a", due_on=TODAY)
    assert needed("a") == {oil.pk: 2 * KG}


def test_each_holder_has_its_own():
    oil = make_material()
    require({oil.pk: 1}, holder="a", due_on=TODAY)
    require({oil.pk: 2}, holder="b", due_on=TODAY)
    withdraw("a")
    assert (needed("a"), needed("b")) == ({}, {oil.pk: 2})


def test_a_plan_that_cannot_be_kept_leaves_the_last_one():
    oil = make_material()
    require({oil.pk: 1}, holder="a", due_on=TODAY)
    with pytest.raises(IntegrityError), transaction.atomic():
        require({oil.pk: 2, 10**9: 1}, holder="a", due_on=TODAY)
        transaction.get_connection().check_constraints()
    assert needed("a") == {oil.pk: 1}
