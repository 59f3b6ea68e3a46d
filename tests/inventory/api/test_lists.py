"""Every list takes the same few queries for 3 rows and for 60, and ignores no question."""

import pytest

from inventory.models.catalog.materials import Material
from inventory.services.buying.requirements import expect, require
from inventory.services.stock.reservations import Holding, reserve
from tests.inventory.api.calls import Caller, queries_of
from tests.inventory.making import TODAY
from tests.studio.web.api.test_problems import problem_in

MOST_QUERIES = 6
LISTS = (
    "materials/",
    "stock/",
    "suppliers/",
    "offers/",
    "purchase-orders/",
    "deliveries/",
    "lots/",
    "entries/",
    "reservations/",
    "counts/",
    "requirements/",
    "expected-makes/",
    "alerts/",
)


def fill(owner, first, last):
    """For each number a material with a row of every list behind it."""
    for number in range(first, last):
        name, reference = f"m{number:03}", f"batch:B-{number:05}"
        owner.made("suppliers/", {"code": name, "name": name})
        body = {"code": name, "name": name, "kind": "fat", "reorder_point": "9 kg"}
        owner.made("materials/", {**body, "fatty_acids": {"C12:0": "0.5", "C14:0": "0.2"}})
        offer = {"code": name, "supplier": name, "material": name, "pack_written": "1 lb"}
        owner.made("offers/", {**offer, "price": "5"})
        order = {"supplier": name, "ordered_on": "2026-03-01"}
        owner.made("purchase-orders/", {**order, "lines": [{"offer": name, "packs": 4}]})
        line = {"offer": name, "packs": 2, "lot_code": name}
        received = {"supplier": name, "received_on": "2026-03-02", "lines": [line]}
        charges = [{"kind": "freight", "amount": "1"}]
        owner.made("deliveries/", {**received, "charges": charges})
        owner.made(f"lots/{name}/count/", {"found": "2 lb"})
        material = Material.objects.get(code=name).pk
        require({material: 5}, holder=f"{reference}-later", due_on=TODAY)
        expect({material: 5}, holder=reference, due_on=TODAY)
        reserve(Holding(needs={material: 5}, holder=reference, on=TODAY))
    assert owner.post("alerts/evaluate/").status_code == 200


def test_queries_are_few_and_do_not_grow(owner):
    fill(owner, 0, 3)
    few = {path: queries_of(owner, path, page_size=200) for path in LISTS}
    fill(owner, 3, 60)
    many = {path: queries_of(owner, path, page_size=200) for path in LISTS}
    sizes = {path: len(owner.rows(path, page_size=200)) for path in LISTS}
    assert {path for path, size in sizes.items() if size < 60} == set()
    assert few == many
    assert max(many.values()) <= MOST_QUERIES, many
    # All are weighed up before the page is cut, so one more.
    assert queries_of(owner, "stock/", low="true", page_size=200) <= MOST_QUERIES + 1


@pytest.mark.postgres
def test_lists_and_their_filters_on_postgresql(owner):
    fill(owner, 0, 3)
    for path in LISTS:
        assert queries_of(owner, path) <= MOST_QUERIES
        assert len(owner.rows(path)) >= 3
    lots = {"has_stock": "true", "has_available": "true", "received_until": "2026-03-02"}
    assert len(owner.rows("lots/", **lots, material="m001", state="released")) == 1
    assert len(owner.rows("reservations/", lot="m001", state="open")) == 1
    assert len(owner.rows("stock/", low="true", kind="fat", active="true")) == 3
    assert len(owner.rows("entries/", verb="reserve", reference="batch:B-00001")) == 1
    assert owner.rows("alerts/", state="closed", material="m001") == []


@pytest.mark.parametrize("path", LISTS)
@pytest.mark.parametrize("query", [{"nmae": "x"}, {"page_size": "201"}, {"cursor": "junk"}])
def test_no_question_is_ignored(owner, path, query):
    answer = owner.get(path, **query)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] in query


@pytest.mark.parametrize(
    ("path", "name"),
    [
        ("lots/", "state"),
        ("lots/", "material"),
        ("lots/", "has_stock"),
        ("lots/", "expiring_before"),
        ("entries/", "posting"),
        ("alerts/", "state"),
        ("stock/", "low"),
    ],
)
def test_a_lost_value_does_not_show_everything(owner, path, name):
    answer = owner.get(path, **{name: ""})
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] == name


@pytest.mark.parametrize("path", LISTS)
@pytest.mark.parametrize("named", ["nothing", "9" * 60, "\u0663", "a%00b"])
def test_what_is_not_there(owner, path, named):
    assert owner.client.get(f"/api/v1/{path}{named}/").status_code == 404


def test_costs_are_for_those_who_may_see_them(owner):
    fill(owner, 0, 1)
    hidden = {"price", "landed_cost", "cost", "charges", "minimum_order"}
    for caller, shown in ((Caller("viewer"), set()), (Caller("maker"), set()), (owner, hidden)):
        seen = set().union(*(names_in(caller.rows(path)) for path in LISTS))
        assert seen & hidden == shown
    allowed = Caller("viewer", see_costs=True)
    assert hidden <= set().union(*(names_in(allowed.rows(path)) for path in LISTS))


def names_in(shown):
    """All names of members, however deep."""
    if isinstance(shown, dict):
        return set(shown).union(*map(names_in, shown.values()))
    return set().union(*map(names_in, shown)) if isinstance(shown, list) else set()


def test_nobody_reads_without_a_role(db):
    for path in LISTS:
        assert Caller(None).get(path).status_code == 403


def test_stock_of_nothing(owner):
    assert owner.rows("stock/") == owner.rows("stock/", low="true") == []
    problem_in(owner.get("stock/tallow/"), 404, "not-found")


def test_a_list_of_nothing(owner):
    assert owner.rows("projection/") == owner.rows("projection/", short="true") == []
