"""Whatever stands in a body, the answer is an answer: never a failure, and a refusal changes
nothing."""

import copy

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from recipes.models.bench.batches import Batch
from tests.kept import once_a_module
from tests.recipes.api.calls import (
    LOAF,
    VERSION,
    Caller,
    balances,
    fill_shelf,
    plan_batch,
    row_counts,
    write_recipe,
)
from tests.recipes.api.scaling.test_compute import LYE, SCALE

pytestmark = pytest.mark.django_db
FIXTURES = settings(
    max_examples=40,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)

ODD = st.sampled_from(
    [
        None, True, 0, -1, 1, 10**18, 10**40, 0.5, "", " ", "x", "0", "-1", "1e5", "NaN", "1/0",
        "100 %", "9" * 60, "1 g", "0 g", "-1 g", "9000000 kg", "1 L", "3 each", "40 degC",
        "9999 degC", "1 in", "9223372036854775807", "2026-03-02", "9999-12-31", "ä", "<b>", [], {},
        [[]], [None], {"amount": "1"}, {"amount": "1", "unit": "g"},
        {"amount": "1e400", "unit": "g"},
        "olive", "loaf", ["x"] * 600,
    ]
)  # fmt: skip

BODIES = {
    "molds/": {**LOAF, "code": "odd"},
    "formulas/": {"code": "odd", "name": "Odd", "kind": "soap", "note": "n"},
    "formulas/{formula}/versions/": VERSION,
    "formulas/{formula}/scale/": {
        "target": {"mold": "loaf", "fill_height": "5 cm", "bars": 8}, "version": 1,
        "on": "2026-03-02",
    },
    "batches/": {
        "formula": "{formula}", "planned_on": "2026-03-02", "target": {"fats": "1 kg", "bars": 3},
        "note": "n",
    },
    "batches/{planned}/reserve/": {
        "chosen": [{"material": "olive", "lot": "L-00001", "amount": "1 g"}],
        "expires_on": "2199-12-31",
    },
    "batches/{reserved}/pour/": {
        "on": "2026-03-02",
        "actual": [{"position": 0, "amount": "500 g"}],
        "chosen": [{"material": "olive", "lot": "L-00001", "amount": "500 g"}],
        "poured": "1 kg", "minutes": 5, "note": "n",
    },
    "batches/{poured}/cut/": {
        "on": "2026-03-02", "bars_good": 7, "bars_rejected": 1, "minutes": 5, "note": "n",
    },
    "batches/{cut}/cure/": {
        "on": "2026-04-02",
        "packed": [{"material": "box", "amount": "9 each"}],
        "chosen": [{"material": "box", "lot": "L-00008", "amount": "9 each"}],
        "minutes": 5, "early_reason": "x", "note": "n",
    },
    "batches/{planned}/cancel/": {"reason": "x"},
    "batches/{reserved}/unreserve/": {},
    "compute/lye/": {**LYE, "acids": [{"mass": "1 g", "acid": "lactic"}], "koh_share": "0.1"},
    "compute/scale/": SCALE,
    "compute/mold-volume/": {k: v for k, v in LOAF.items() if k not in ("code", "name")},
    "compute/density/": {"naoh_share": "0.2", "koh_share": "0.1", "temperature": "30 degC"},
}  # fmt: skip


def places(body, path=()):
    """Every place in a body: of each member, and a new one in each object."""
    if isinstance(body, dict):
        yield (*path, "odd-member")
        for name, value in body.items():
            yield (*path, name)
            yield from places(value, (*path, name))
    elif isinstance(body, list):
        for index, value in enumerate(body):
            yield (*path, index)
            yield from places(value, (*path, index))


def make_batches():
    """A batch in each state, by the state's name, and the recipe that they are of."""
    fill_shelf()
    maker = Caller("owner")
    known = {"formula": write_recipe(maker)}
    steps = {"planned": (), "reserved": ("reserve",), "poured": ("reserve", "pour"),
             "cut": ("reserve", "pour", "cut")}  # fmt: skip
    for name, taken in steps.items():
        known[name] = plan_batch(maker, known["formula"])
        for step in taken:
            body = {"on": "2026-03-02"} if step != "reserve" else {}
            maker.done(f"batches/{known[name]}/{step}/",
                       {**body, "bars_good": 8} if step == "cut" else body)  # fmt: skip
    return known


names_once = once_a_module(make_batches)


@pytest.fixture
def names(names_once):
    return {**names_once.fresh(), "caller": Caller("owner")}


def state():
    return row_counts(), balances(), list(Batch.objects.order_by("id").values())


class _Undo(Exception):
    """Leaves the rows of an example behind."""


@pytest.fixture
def before(names):
    """The state that each example starts from, since each is undone."""
    return state()


def right_body(path, names):
    body = copy.deepcopy(BODIES[path])
    if body.get("formula"):
        body["formula"] = names["formula"]
    return body


@pytest.mark.parametrize("path", sorted(BODIES))
def test_the_bodies_to_start_from_are_right(names, path):
    response = names["caller"].post(path.format(**names), right_body(path, names))
    assert response.status_code < 300, response.content


@pytest.mark.parametrize("path", sorted(BODIES))
@FIXTURES
@given(data=st.data())
def test_odd_values_are_answered(names, before, path, data):
    body = right_body(path, names)
    *parents, last = data.draw(st.sampled_from(list(places(body))))
    place = body
    for parent in parents:
        place = place[parent]
    place[last] = data.draw(ODD)
    try:
        with transaction.atomic():
            response = names["caller"].post(path.format(**names), body)
            assert response.status_code < 500
            if response.status_code >= 400:
                assert response["Content-Type"] == "application/problem+json"
                assert all(fault["detail"] for fault in response.json()["errors"])
                assert state() == before
            raise _Undo
    except _Undo:
        pass
