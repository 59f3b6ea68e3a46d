"""What planners need is replaced as a whole and forgotten as a whole."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from inventory.domain.stock.promises import Supply
from inventory.errors import NotEnoughStock
from inventory.models.buying.requirements import ExpectedMake, Requirement
from inventory.queries.stock.on_order import coverage_dates
from inventory.queries.stock.supplies import being_made, supplies
from inventory.services.buying.requirements import expect, require, withdraw, withdraw_makes
from inventory.services.stock.reservations import Holding, reserve
from tests.inventory.making import KG, TODAY, make_lot, make_material

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


def test_what_will_be_made_is_replaced_and_forgotten_by_itself():
    lye, oil = make_material(), make_material()
    require({oil.pk: 1}, holder="a", due_on=TODAY)
    expect({lye.pk: 2 * KG, oil.pk: 0}, holder="a", due_on=TODAY)
    expect({lye.pk: KG}, holder="a", due_on=TODAY)
    rows = ExpectedMake.objects.filter(holder="a")
    assert [(row.material_id, row.amount) for row in rows] == [(lye.pk, KG)]
    assert being_made() == being_made([lye.pk, oil.pk]) == {lye.pk: KG}
    withdraw_makes("a")
    assert being_made() == {} and needed("a") == {oil.pk: 1}


def test_what_is_being_made_says_when_a_shortage_could_be_covered(database):
    lye = make_material()
    expect({lye.pk: KG}, holder="a", due_on=TODAY + timedelta(3))
    expect({lye.pk: KG}, holder="b", due_on=TODAY + timedelta(2))
    assert coverage_dates([lye.pk]) == {lye.pk: TODAY + timedelta(2)}
    with pytest.raises(NotEnoughStock) as refused:
        reserve(Holding(needs={lye.pk: 1}, holder="c", on=TODAY))
    covered = refused.value.faults[0].details["covered_on"]
    assert covered == (TODAY + timedelta(2)).isoformat()


def test_only_what_a_holder_does_not_hold_is_promised(database):
    oil = make_material()
    make_lot(oil, 5 * KG)
    require({oil.pk: 3 * KG}, holder="a", due_on=TODAY)
    reserve(Holding(needs={oil.pk: 2 * KG}, holder="a", on=TODAY))
    expect({oil.pk: KG}, holder="b", due_on=TODAY)
    supply = supplies([oil.pk], on=TODAY)[oil.pk]
    assert supply == Supply(available=3 * KG, coming=((TODAY, KG),), promised=((TODAY, KG),))
    with CaptureQueriesContext(connection) as captured:
        supplies([oil.pk], on=TODAY)
    assert len(captured) == 3
