"""Which lots an owner may name for a rebatch, and what lifting one document's holds would free."""

from datetime import timedelta

import pytest

from inventory.domain.stock.holds import Cause, NewHold
from inventory.models.stock.lots import Lot
from inventory.queries.stock.free_lots import unsafe_lots
from inventory.queries.stock.holds import freed_without
from inventory.services.stock.holds import hold
from tests.inventory.making import KG, TODAY, make_lot, make_material

pytestmark = pytest.mark.django_db
UNSAFE = (Cause.LYE, Cause.LIMIT)


def held(material, *causes, reference="batch:B-7", **values):
    lot = make_lot(material, KG, **values)
    for cause in causes:
        hold([lot.pk], NewHold(cause=cause, reason=cause.value, reference=reference), on=TODAY)
    return lot


@pytest.mark.parametrize("cause", UNSAFE)
def test_unsafe_soap_is_named_with_what_it_is_held_for_also_while_it_cures(
    cause, django_assert_num_queries
):
    soap = make_material("grated")
    lots = [held(soap, cause), held(soap, cause, Cause.CURE)]
    held(make_material("other"), cause)
    make_lot(soap, KG)
    with django_assert_num_queries(2):
        found = unsafe_lots([soap.pk], on=TODAY)
    assert [(each.id, each.code, each.free) for each in found] == [
        (lot.pk, lot.code, KG) for lot in lots
    ]
    assert all(cause.value in each.reason for each in found)


@pytest.mark.parametrize("more", [one for one in Cause if one not in (*UNSAFE, Cause.CURE)])
def test_what_is_held_for_anything_else_is_not(more):
    soap = make_material("grated")
    held(soap, Cause.LYE, more)
    held(soap, more)
    assert unsafe_lots([soap.pk], on=TODAY) == []


def test_what_is_used_up_promised_stale_or_not_there_yet_is_not():
    soap = make_material("grated")
    used, promised = held(soap, Cause.LYE), held(soap, Cause.LYE)
    Lot.objects.filter(pk=used.pk).update(on_hand=0)
    Lot.objects.filter(pk=promised.pk).update(reserved=KG)
    held(soap, Cause.LYE, best_before=TODAY)
    tomorrow = TODAY + timedelta(days=1)
    assert unsafe_lots([soap.pk], on=tomorrow) == []
    assert unsafe_lots([soap.pk], on=TODAY - timedelta(days=1)) == []


def test_lifting_frees_what_nothing_else_holds():
    soap = make_material("grated")
    recalled = [held(soap, Cause.RECALL, reference="recall:R-1") for _ in range(3)]
    for cause, reference in ((Cause.LYE, "batch:B-7"), (Cause.RECALL, "recall:R-2")):
        new = NewHold(cause=cause, reason="also", reference=reference)
        hold([recalled[0].pk], new, on=TODAY)
    held(soap, Cause.RECALL, reference="recall:R-2")
    assert freed_without(Cause.RECALL, "recall:R-1") == (2, 1)
    assert freed_without(Cause.RECALL, "recall:R-9") == (0, 0)
