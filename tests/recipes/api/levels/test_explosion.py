"""Plans over all levels by requests: exploded, planned as a tree, reserved as one."""

import uuid
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory.models.buying.requirements import ExpectedMake
from inventory.models.stock.lots import Lot
from inventory.services.stock.proof import prove_books
from inventory.services.stock.reservations import expire_reservations
from recipes.models.bench.batches import Batch
from tests.inventory.making import KG, make_lot
from tests.kept import once_a_module
from tests.recipes.api.calls import Caller, nothing_changes
from tests.recipes.levels import G, fill, make_levels
from tests.studio.web.api.test_problems import problem_in

pytestmark = pytest.mark.django_db
TARGET = {"fats": "1 kg", "bars": 8}
BODY = {"formula": "garden", "planned_on": "2026-03-02", "target": TARGET}


levels_once = once_a_module(make_levels)


@pytest.fixture
def levels(levels_once):
    return levels_once.fresh()


@pytest.fixture
def maker(levels):
    return Caller("maker")


def grams(quantity):
    return Decimal(quantity["amount"])


def exploded(caller, **body):
    return caller.done("formulas/garden/explode/", {"target": TARGET, "on": "2026-03-02", **body})


def test_exploding_answers_with_the_tree_and_a_flat_list_and_stores_nothing(maker, levels):
    fill(levels, petals=20 * G)
    with nothing_changes():
        answer = exploded(maker)
    order = [batch["material"] for batch in answer["batches"]]
    assert order.index("infused") < order.index("dispersion") and "lye" in order
    infused = answer["batches"][order.index("infused")]
    assert sorted(infused["used_by"]) == ["", "dispersion"]
    assert (grams(infused["needed"]), infused["formula"]) == (Decimal(630), "make-infused")
    assert (infused["start_on"], infused["ready_on"]) == ("2026-02-16", "2026-03-02")
    assert grams(infused["makes"]) >= Decimal(630) and not infused["late"]
    [short] = answer["shortages"]
    assert short["material"] == "petals" and short["first_on"] is None
    assert grams(short["short"]) == grams(short["needed"]) - 20
    assert answer["earliest_on"] is None and not answer["covered"]
    assert {"lye-into-water", "dilution-heat"} <= {c["code"] for c in answer["cautions"]}


def test_the_tree_lists_each_node_before_what_stands_below_it(maker, levels):
    fill(levels)
    tree = exploded(maker)["tree"]
    for place, node in enumerate(tree):
        if node["level"] == 1:
            assert node["under"] is None
        else:
            above = tree[node["under"]]
            assert node["under"] < place and above["level"] == node["level"] - 1
            assert above["order"] is not None and not above["repeated"]
    infused = [node for node in tree if node["material"] == "infused"]
    assert sorted(node["repeated"] for node in infused) == [False, True]
    assert sum(grams(node["needed"]) for node in infused) == 630
    petals = [node for node in tree if node["material"] == "petals"]
    assert len(petals) == 1  # what stands below the oil is shown once


def test_what_the_shelf_has_is_not_made(maker, levels):
    fill(levels)
    make_lot(levels.materials["infused"], KG)
    make_lot(levels.materials["lye"], 100 * G)
    answer = exploded(maker)
    assert sorted(batch["material"] for batch in answer["batches"]) == ["dispersion", "lye"]
    lye = next(row for row in answer["materials"] if row["material"] == "lye")
    assert grams(lye["available"]) == grams(lye["free"]) == 100
    assert grams(lye["short"]) == grams(lye["needed"]) - 100


def test_planning_a_tree_once_for_a_key(maker, levels):
    fill(levels)
    key = {"Idempotency-Key": str(uuid.uuid4())}
    first, again = (
        maker.post("batches/tree/", BODY, **key),
        maker.post("batches/tree/", BODY, **key),
    )
    assert first.status_code == 201 and first.content == again.content
    assert Batch.objects.count() == 4 and ExpectedMake.objects.count() == 4
    made = first.json()
    top = made["batch"]["code"]
    assert made["batch"]["planned_for"] is None
    assert {batch["planned_for"] for batch in made["making"]} == {top}
    assert [b["formula"] for b in made["making"]] == [
        b["formula"] for b in made["explosion"]["batches"]
    ]
    assert maker.get(f"batches/{top}/").json()["lines"] == made["batch"]["lines"]
    stock = maker.get("stock/lye/").json()
    assert grams(stock["being_made"]) >= grams(stock["planned"]) > 0


def test_reserving_a_tree_once_for_a_key_with_what_waits(maker, levels):
    fill(levels)
    top = maker.made("batches/tree/", BODY)["batch"]["code"]
    key = {"Idempotency-Key": str(uuid.uuid4())}
    first = maker.post(f"batches/{top}/reserve-tree/", {}, **key)
    assert first.status_code == 200, first.content
    assert maker.post(f"batches/{top}/reserve-tree/", {}, **key).content == first.content
    batches = first.json()["batches"]
    assert batches[-1]["batch"]["code"] == top
    assert {each["batch"]["state"] for each in batches} == {"reserved"}
    waits = {part["material"]: grams(part["amount"]) for part in batches[-1]["waits"]}
    assert set(waits) == {"infused", "lye", "dispersion"} and waits["infused"] == 600
    assert batches[-1]["safety"] and batches[-1]["cautions"]
    assert all(lot["amount"] for each in batches for lot in each["lots"])
    sheet = maker.get(f"batches/{top}/sheet/").json()
    assert Decimal(sheet["safety"]["superfat"]) > 0
    problem_in(maker.post(f"batches/{top}/reserve-tree/"), 409, "batch-conflict")
    assert prove_books().holds


def test_reserving_the_top_of_a_tree_reserves_the_tree(maker, levels):
    fill(levels)
    top = maker.made("batches/tree/", BODY)["batch"]["code"]
    held = maker.done(f"batches/{top}/reserve/")
    assert held["batch"]["code"] == top and held["safety"]
    assert set(Batch.objects.values_list("state", flat=True)) == {"reserved"}
    assert prove_books().holds


@pytest.mark.parametrize("verb", ["reserve", "reserve-tree"])
@pytest.mark.parametrize("reset", [True, False])
def test_a_hold_lasts_through_its_last_day_so_that_day_is_not_over(maker, levels, verb, reset):
    fill(levels)
    top = maker.made("batches/tree/", BODY)["batch"]["code"]
    today = timezone.localdate()
    body = {"expires_on": (today - timedelta(days=1)).isoformat(), "reset_lye": reset}
    with nothing_changes():
        problem = problem_in(maker.post(f"batches/{top}/{verb}/", body), 422, "invalid-input")
    assert [fault["field"] for fault in problem["errors"]] == ["expires_on"]
    maker.done(f"batches/{top}/{verb}/", {**body, "expires_on": today.isoformat()})
    assert expire_reservations(today=today) == 0
    assert expire_reservations(today=today + timedelta(days=1)) > 0


def test_calling_off_a_tree(maker, levels):
    fill(levels)
    top = maker.made("batches/tree/", BODY)["batch"]["code"]
    maker.done(f"batches/{top}/reserve-tree/")
    with nothing_changes():
        assert Caller("viewer").post(f"batches/{top}/cancel-tree/").status_code == 403
    gone = maker.done(f"batches/{top}/cancel-tree/", {"reason": "no market"})["batches"]
    assert len(gone) == 4 and {batch["state"] for batch in gone} == {"cancelled"}
    assert not Lot.objects.filter(reserved__gt=0).exists()
    problem_in(maker.post(f"batches/{top}/cancel-tree/"), 409, "batch-conflict")


def test_a_shortage_on_any_level_is_named_and_nothing_is_held(maker, levels):
    fill(levels, petals=20 * G, coconut=0)
    top = maker.made("batches/tree/", BODY)["batch"]["code"]
    with nothing_changes():
        document = problem_in(maker.post(f"batches/{top}/reserve-tree/"), 409, "not-enough-stock")
    assert {fault["material"] for fault in document["errors"]} == {"petals", "coconut"}


def test_who_may_and_what_is_read(maker, levels):
    fill(levels)
    viewer = Caller("viewer")
    assert viewer.post("formulas/garden/explode/", {"target": TARGET}).status_code == 200
    top = maker.made("batches/tree/", BODY)["batch"]["code"]
    with nothing_changes():
        assert viewer.post("batches/tree/", BODY).status_code == 403
        assert viewer.post(f"batches/{top}/reserve-tree/").status_code == 403
        for path, body in (("batches/tree/", BODY), (f"batches/{top}/reserve-tree/", {})):
            bare = maker.client.post(f"/api/v1/{path}", body, format="json")
            assert bare.status_code == 400 and "Idempotency-Key" in bare.json()["detail"]
        problem_in(maker.post("batches/B-9/reserve-tree/"), 404, "not-found")
        problem_in(maker.post("formulas/none/explode/", {"target": TARGET}), 404, "not-found")
        for bad in ({"keep": "perhaps"}, {"expires_on": "never"}, {"chosen": []}):
            assert maker.post(f"batches/{top}/reserve-tree/", bad).status_code == 400
        assert maker.post("formulas/garden/explode/", {}).status_code == 400
        assert maker.post("batches/tree/", {**BODY, "code": "B-1"}).status_code == 400


def test_a_version_that_would_need_what_it_makes_is_refused_with_the_path(maker, levels):
    lines = [
        {"material": "olive", "basis": "of-batter", "amount": "0.5"},
        {"material": "dispersion", "basis": "of-batter", "amount": "0.5"},
    ]
    with nothing_changes():
        response = maker.post("formulas/make-infused/versions/", {"lines": lines})
        document = problem_in(response, 422, "needs-itself")
    assert document["errors"][0]["path"] == ["Infused", "Dispersion", "Infused"]
    own = [{"material": "infused", "basis": "of-batter", "amount": "1"}]
    with nothing_changes():
        response = maker.post("formulas/make-infused/versions/", {"lines": own})
        problem_in(response, 422, "needs-itself")


def test_the_least_batch_and_the_days_until_ready(maker, levels):
    formula = maker.get("formulas/make-infused/")
    assert formula.json()["least_make"] is None
    changed = maker.patch(
        "formulas/make-infused/", {"least_make": "3 kg"}, **{"If-Match": formula["ETag"]}
    )
    assert changed.json()["least_make"] == {"amount": "3000", "unit": "g"}
    assert maker.get("formulas/make-infused/versions/1/").json()["ready_days"] == 14
    fill(levels)
    infused = next(b for b in exploded(maker)["batches"] if b["material"] == "infused")
    assert grams(infused["makes"]) >= 3000
    for body, field in (
        ({"code": "a", "name": "A", "least_make": "1 kg"}, "least_make"),
        ({"code": "a", "name": "A", "kind": "blend", "least_make": "0 g"}, "least_make"),
    ):
        response = maker.post("formulas/", body)
        assert response.status_code == 422, response.content
        assert response.json()["errors"][0]["field"] == field
    soap = maker.get("formulas/garden/versions/1/").json()
    for name in ("number", "frozen_at", "created_at", "is_current", "accepted_worst"):
        soap.pop(name)
    given = {name: value for name, value in soap.items() if value is not None}
    refused = maker.post("formulas/garden/versions/", {**given, "ready_days": 3})
    assert refused.json()["errors"][0]["field"] == "ready_days"


def test_reserving_with_the_lye_set_on_the_lots(maker, levels):
    fill(levels)
    for code in ("infused", "dispersion"):
        make_lot(levels.materials[code], KG)
    make_lot(levels.materials["lye"], KG, purity=Decimal("0.42"))
    batch = maker.made("batches/", BODY)
    weighed = {row["part"]: grams(row["planned"]) for row in batch["lines"]}
    held = maker.done(f"batches/{batch['code']}/reserve/", {"reset_lye": True})
    now = {row["part"]: grams(row["planned"]) for row in held["batch"]["lines"]}
    assert abs(now["masterbatch"] - weighed["masterbatch"] * 49 / 42) <= 1
    assert now["water"] < weighed["water"]
    assert abs(Decimal(held["safety"]["superfat"]) - Decimal("0.06")) < Decimal("0.003")
    assert {"dilution-heat"} <= {caution["code"] for caution in held["cautions"]}


def test_the_answers_take_the_same_queries_at_any_width(maker, levels):
    fill(levels)
    counts = []
    for _ in range(2):
        exploded(maker)
        with CaptureQueriesContext(connection) as captured:
            exploded(maker)
        counts.append(len(captured))
        lines = [
            {"material": code, "basis": "of-batter", "amount": "0.25"}
            for code in ("olive", "water", "petals", "clay")
        ]
        maker.made("formulas/make-dispersion/versions/", {"lines": lines})
    assert counts[1] <= counts[0]
    assert not Lot.objects.filter(reserved__gt=0).exists()
