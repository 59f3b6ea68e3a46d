"""An owner alone decides what becomes of unsafe soap, through every door and beyond them.

A lot of which nothing is left would be free for whoever may say that it was disposed of.
"""

import pytest
from django.test import Client
from django.utils import timezone

from inventory.domain.stock.holds import DECIDED, Cause, Decision, NewHold, Outcome
from inventory.errors import NotForYou
from inventory.models.stock.holds import Hold
from inventory.services.counting.counts import spoil_lot
from inventory.services.stock.hold_verbs import decide_lot
from inventory.services.stock.holds import hold
from inventory.services.stock.ledger import Origin
from studio.foundation.roles import Role
from tests.inventory.making import KG, make_lot, make_material
from tests.recipes.api.calls import V1
from tests.studio.web.api.people import client_of, person

GONE = {"outcome": Outcome.DISPOSED.value, "reason": "to the waste station"}
OTHERS = [role.value for role in Role if role is not Role.OWNER]


@pytest.fixture(params=sorted(DECIDED))
def cause(request):
    return Cause(request.param)


@pytest.fixture
def lot(database, cause):
    """Poured soap, held for that and then written off."""
    lot = make_lot(make_material("soap"), KG)
    new = NewHold(cause=cause, reason="found", reference="batch:X-1")
    hold([lot.pk], new, on=lot.received_on)
    spoil_lot(lot.pk, lot.on_hand, origin=Origin(reference="spoil:x", note="unsafe"))
    return lot


def by_api(lot, cause, user):
    asked = {**GONE, "cause": cause.value}
    headers = {"Idempotency-Key": f"k-{user.pk}"}
    path = f"{V1}lots/{lot.code}/decide/"
    return client_of(user).post(path, asked, format="json", headers=headers).status_code


def by_page(lot, cause, user):
    client = Client()
    client.force_login(user)
    given = {**GONE, "cause": cause.value, "on": str(timezone.localdate()), "once": f"k-{user.pk}"}
    return client.post(f"/shelf/lots/{lot.code}/decide/", given).status_code


def by_service(lot, cause, user):
    """What a door of tomorrow would ask, whatever that lets through."""
    decision = Decision(outcome=Outcome.DISPOSED, reason="gone", on=timezone.localdate())
    try:
        decide_lot(lot.pk, decision, cause=cause, by=user)
    except NotForYou:
        return 403
    return 200


def is_held(lot, cause):
    return Hold.objects.filter(lot=lot, cause=cause, lifted_at=None).exists()


@pytest.mark.parametrize("door", [by_api, by_page, by_service], ids=lambda door: door.__name__)
def test_an_owner_alone_decides_by_whatever_door(lot, cause, door):
    for role in OTHERS:
        assert door(lot, cause, person(role)) == 403, role
        assert is_held(lot, cause), role
    owner = person("owner")
    assert door(lot, cause, owner) in (200, 303)
    (ended,) = Hold.objects.filter(lot=lot, cause=cause)
    assert not ended.open and (ended.lifted_by, ended.outcome) == (owner, "disposed")
