"""Customers over the API."""

import pytest

from costing.models.quotes.quotes import Customer
from tests.costing.selling import a_tier
from tests.inventory.api.calls import Caller
from tests.studio.web.api.test_problems import fields_of, problem_in

pytestmark = pytest.mark.django_db
CORNER = {
    "code": "corner",
    "name": "The Corner Shop (invented)",
    "tier": "wholesale",
    "email": "buyer@corner.example",
    "address": "1 Mill Lane\nOldtown",
    "discount": "5 %",
    "terms_days": 14,
}


@pytest.fixture
def owner():
    a_tier()
    return Caller()


def test_a_customer_is_made_changed_and_found(owner):
    row = owner.made("customers/", CORNER)
    assert (row["tier"], row["discount"], row["tax_exempt"]) == ("wholesale", "0.05", False)
    a_tier("direct", position=9)
    changed = owner.patch("customers/corner/", {"tier": "direct"}, match='"1"')
    assert changed.json() | {"updated_at": ""} == row | {
        "tier": "direct",
        "revision": 2,
        "updated_at": "",
    }
    problem_in(owner.patch("customers/corner/", {"name": "x"}, match='"1"'), 412, "stale")
    assert owner.rows("customers/", tier="direct", name_contains="corner shop") == [changed.json()]
    assert owner.rows("customers/", tier="wholesale") == []
    assert changed.json()["changed_by"] == Customer.objects.get().changed_by.username


def names_of(answer):
    return {name for name, _ in fields_of(answer.json())}


def test_every_fault_is_told_at_once(owner):
    answer = owner.post(
        "customers/",
        {**CORNER, "code": "no code", "tier": "moon", "terms_days": 400, "email": "nobody"},
    )
    assert answer.status_code == 400 and Customer.objects.count() == 0
    assert names_of(answer) >= {"code", "email"}
    whole = owner.post("customers/", {**CORNER, "tier": "moon", "terms_days": 400, "discount": "1"})
    assert names_of(whole) == {"tier", "terms_days", "discount"}
    owner.made("customers/", CORNER)
    assert names_of(owner.post("customers/", CORNER)) == {"code"}


def test_makers_see_who_buys_but_not_at_which_discount(owner):
    owner.made("customers/", CORNER)
    maker = Caller("maker")
    assert "discount" not in maker.seen("customers/corner/")
    problem_in(maker.post("customers/", {**CORNER, "code": "other"}), 403, "not-allowed")
    problem_in(maker.patch("customers/corner/", {"name": "x"}), 403, "not-allowed")
    problem_in(Caller(None).get("customers/"), 403, "not-allowed")
