"""Bars that something holds beside their cure are neither packed nor released, by any door.

Nobody packs what may have to be thrown away. What is of a trial alone is packed and stays held.
"""

import uuid

import pytest
from django.db import transaction
from django.test import Client
from django.utils import timezone

from inventory.domain.stock.holds import Cause, NewHold
from inventory.models.stock.holds import Hold
from inventory.services.shipping.recall import recall_lot
from inventory.services.stock.hold_verbs import hold_lot
from inventory.services.stock.holds import hold
from recipes.models.bench.batches import Batch
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.finishing import Cut, cut_batch
from tests.doors.held_studio import nothing_of_stock_changes
from tests.form_values import form_of
from tests.inventory.making import TODAY
from tests.read_pages import read
from tests.recipes.api.calls import Caller
from tests.recipes.making import make_bench, planned, stock
from tests.studio.web.api.people import person

BESIDE = sorted({*Cause} - {Cause.CURE, Cause.TRIAL})


@pytest.fixture
def batch(database):
    """Cut, and cured for long enough; a box waits for each bar."""
    bench = make_bench()
    stock(bench)
    code = planned(bench).code
    reserve_batch(code)
    pour_batch(code, Poured(on=TODAY))
    return cut_batch(code, Cut(on=TODAY, bars_good=8))


def by_api(batch):
    return Caller("owner").post(f"batches/{batch.code}/cure/", {"early_reason": "hot process"})


def by_page(batch):
    client, path = Client(), f"/batches/{batch.code}/release/"
    client.force_login(person("owner"))
    # As the form stands: where something holds the bars the page shows none.
    given = {"on": str(timezone.localdate()), **form_of(client.get(path).content.decode())}
    given |= {"early_reason": "hot process", "once": str(uuid.uuid4())}
    packing = batch.lines.filter(stage="pack").values_list("material", flat=True)
    given |= {f"packed_{material}": "8 each" for material in packing}
    return client.post(path, given, follow=True)


def held_for(batch, cause):
    lot = batch.bar_lot
    if cause is Cause.RECALL:
        recall_lot(lot.code, "rancid")
    elif cause in (Cause.BY_HAND, Cause.ARRIVAL):
        hold_lot(lot.pk, reason="smells", cause=cause)
    else:
        new = NewHold(cause=cause, reason=f"is {cause}", reference=batch.holder)
        hold([lot.pk], new, on=TODAY)


def refused(door, batch):
    with nothing_of_stock_changes():
        answer = door(batch)
    told = answer.content.decode()
    return answer.status_code in (409, 422) and "held beside their cure" in told


@pytest.mark.parametrize("door", [by_api, by_page], ids=lambda door: door.__name__)
def test_no_door_packs_bars_that_something_holds_beside_their_cure(batch, door):
    for cause in map(Cause, BESIDE):
        with transaction.atomic():
            held_for(batch, cause)
            assert refused(door, batch), cause
            transaction.set_rollback(True)
    assert door(batch).status_code == 200
    assert Batch.objects.get(pk=batch.pk).state == "cured"


@pytest.mark.parametrize("door", [by_api, by_page], ids=lambda door: door.__name__)
def test_bars_of_a_trial_are_packed_and_stay_held(batch, door):
    held_for(batch, Cause.TRIAL)
    if door is by_page:
        client = Client()
        client.force_login(person("maker"))
        page = client.get(f"/batches/{batch.code}/release/")
        assert "are of a trial" in read(page) and ">Release bars</button>" in read(page)
        assert "may be sold" not in read(page)
    answer = door(batch)
    assert answer.status_code == 200
    if door is by_page:
        told = read(answer)
        assert "may be sold now" not in told and "its version is made current" in told
    open_ones = Hold.objects.filter(lot=batch.bar_lot, lifted_at=None)
    assert [each.cause for each in open_ones] == [Cause.TRIAL]
