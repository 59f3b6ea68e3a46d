"""What is weighed, cut and packed, from which lots: by name, in any unit, or refused."""

from decimal import Decimal

import pytest

from inventory.domain.stock.holds import Cause, NewHold
from inventory.services.stock.holds import hold
from inventory.services.stock.proof import prove_books
from tests.inventory.making import KG, TODAY, make_lot, make_material
from tests.kept import once_a_module
from tests.recipes.api.calls import (
    VERSION,
    Caller,
    changed,
    fill_shelf,
    nothing_changes,
    plan_batch,
    write_recipe,
)
from tests.studio.web.api.test_problems import problem_in

pytestmark = pytest.mark.django_db


def plan_one():
    """Materials by code, and the address of a planned batch of eight bars."""
    shelf = fill_shelf()
    maker = Caller("maker")
    return shelf, f"batches/{plan_batch(maker, write_recipe(maker))}/"


planned_once = once_a_module(plan_one)


@pytest.fixture
def shelf(planned_once):
    return planned_once.fresh()[0]


@pytest.fixture
def batch(planned_once):
    return planned_once.fresh()[1]


@pytest.fixture
def maker():
    return Caller("maker")


def faults(response, status, code):
    document = problem_in(response, status, code)
    return {(fault["field"], fault["code"]) for fault in document["errors"]}


def test_a_stored_lye_of_another_strength_is_told_where_it_is_reserved_and_weighed(maker, shelf):
    # 49 % instead of 50 % at 5 %: 0.95 x 0.98 leaves 6.9 % open (balance of mass).
    code = write_recipe(maker, naoh=None, masterbatch="strong-lye", superfat="5 %")
    here = f"batches/{plan_batch(maker, code)}/"
    (lot,) = shelf["strong-lye"].lots.all()
    maker.done(f"lots/{lot.code}/certificate/", {"purity": "0.49"})
    reserved = maker.done(here + "reserve/")
    (told,) = [n for n in reserved["safety"]["notices"] if n["code"] == "superfat-moved"]
    # Half a percent more where the scale rounds the lye down.
    assert Decimal("0.0685") < Decimal(reserved["safety"]["superfat"]) < Decimal("0.075")
    assert told["message"] in maker.get(here + "sheet/").json()["warnings"]
    maker.done(here + "unreserve/")
    again = maker.done(here + "reserve/", {"reset_lye": True})["safety"]
    assert "superfat-moved" not in [notice["code"] for notice in again["notices"]]


def test_dry_alkali_beside_a_stored_lye_dissolves_in_its_own_container(maker, shelf):
    """79 g of KOH (200 g x 0.4 less a little) dissolve in 117 g of water and not in 30 g."""
    make_material("koh", kind="alkali", alkali="KOH", purity=Decimal("0.9"))
    make_material("milk", kind="liquid", water_share=Decimal("0.87"), density_g_ml=Decimal("1.03"))
    milk = {"material": "milk", "basis": "of-fats", "stage": "trace", "counts_as_water": True}
    both = {"naoh": None, "masterbatch": "strong-lye"}
    for amount, dissolves in (("0.15", True), ("0.25", False)):
        code = write_recipe(maker)
        lines = [*VERSION["lines"], {**milk, "amount": amount}]
        version = {**changed(VERSION, **both), "koh": "koh", "koh_share": "0.4", "lines": lines}
        maker.made(f"formulas/{code}/versions/", version)
        wish = {"target": {"fats": "1 kg"}, "version": 2}
        answer = maker.post(f"formulas/{code}/scale/", wish)
        if dissolves:
            assert answer.status_code == 200, answer.content
        else:
            assert "dissolve" in str(problem_in(answer, 422, "cannot-scale"))


def test_chosen_lots_go_first_and_the_rest_follows(batch, maker, shelf):
    mine = make_lot(shelf["olive"], 3 * KG)
    chosen = [{"material": "olive", "lot": mine.code, "amount": "4 oz"}]
    held = maker.done(batch + "reserve/", {"chosen": chosen, "expires_on": "2199-12-31"})
    lots = [lot for lot in held["lots"] if lot["material"] == "olive"]
    assert lots[0] == {
        "material": "olive",
        "lot": mine.code,
        "amount": {"amount": "113.3980925", "unit": "g"},
    }
    assert len(lots) == 2 and held["batch"]["held_until"] == "2199-12-31"
    assert Decimal(held["safety"]["superfat"]) >= Decimal("0.06") and held["cautions"]
    sheet = maker.get(batch + "sheet/").json()
    shown = sheet["stages"][0]["lines"][0]["lots"]
    assert [lot["amount"] for lot in shown] == [lot["amount"] for lot in lots]
    assert sheet["safety"]["superfat"] == held["safety"]["superfat"]
    freed = maker.done(batch + "unreserve/")
    assert (freed["state"], freed["held_until"]) == ("planned", None)


def test_lots_of_another_material_unknown_ones_and_wrong_units_are_named(batch, maker, shelf):
    coconut = shelf["coconut"].lots.get().code
    olive = shelf["olive"].lots.get().code
    cases = [
        ([{"material": "olive", "lot": coconut}], 409, "chosen.0"),
        ([{"material": "olive", "lot": "L-99999"}], 404, "chosen.0"),
        ([{"material": "clay", "lot": olive}], 422, "chosen.0.material"),
        ([{"material": "olive", "lot": olive, "amount": "3 each"}], 422, "chosen.0.amount"),
        ([{"material": "olive", "lot": olive, "amount": "-3 g"}], 400, "chosen.0.amount"),
        ([{"material": "olive", "lot": olive, "amount": "9000 kg"}], 409, "chosen.0"),
        ([{"material": "olive", "lot": olive}] * 2, 409, "chosen.1"),
    ]
    for chosen, status, field in cases:
        with nothing_changes():
            response = maker.post(batch + "reserve/", {"chosen": chosen})
            assert response.status_code == status, response.content
            told = [fault["field"] for fault in response.json()["errors"]]
            assert told and all(one.startswith(field) for one in told), response.content


def test_an_owner_alone_chooses_unsafe_soap(batch, maker, shelf):
    lot = make_lot(shelf["olive"], 3 * KG)
    hold([lot.pk], NewHold(cause=Cause.LYE, reason="burns", reference="batch:B-7"), on=TODAY)
    body = {"chosen": [{"material": "olive", "lot": lot.code, "amount": "100 g"}]}
    with nothing_changes():
        assert faults(maker.post(batch + "reserve/", body), 403, "not-for-you") == {
            ("chosen.0", "not-for-you")
        }
    held = Caller("owner").done(batch + "reserve/", body)
    assert lot.code in [each["lot"] for each in held["lots"]]


def test_lots_whose_certificates_make_it_lye_heavy_are_not_held(batch, maker, shelf):
    low = make_lot(shelf["olive"], 5 * KG, sv_mg_koh_g=Decimal(160))
    chosen = [{"material": "olive", "lot": low.code}]
    with nothing_changes():
        assert faults(maker.post(batch + "reserve/", {"chosen": chosen}), 422, "lye-heavy")
    maker.done(batch + "reserve/")


def test_a_lye_heavy_pour_is_recorded_and_its_bars_stay_blocked(batch, maker):
    planned = maker.done(batch + "reserve/")["batch"]["lines"]
    naoh = next(line for line in planned if line["part"] == "naoh")
    more = {
        "position": naoh["position"],
        "amount": {"amount": str(Decimal(naoh["planned"]["amount"]) * 6 / 5), "unit": "g"},
    }
    poured = maker.done(batch + "pour/", {"on": "2026-03-02", "actual": [more]})
    assert Decimal(poured["safety"]["superfat"]) < 0
    assert poured["batch"]["poured_lot"]["state"] == "blocked"
    assert "Lye-heavy" in poured["batch"]["poured_lot"]["state_reason"]
    assert "as weighed" in poured["batch"]["poured_lot"]["state_reason"]
    cut = maker.done(batch + "cut/", {"on": "2026-03-03", "bars_good": 8})
    assert cut["bar_lot"]["state"] == "blocked"
    with nothing_changes():
        problem_in(maker.post(batch + "cure/", {"on": "2026-09-01"}), 409, "batch-conflict")


def test_a_pour_without_fats_is_recorded_and_blocked(batch, maker):
    lines = maker.done(batch + "reserve/")["batch"]["lines"]
    fats = [line["position"] for line in lines if line["material"] in ("olive", "coconut")]
    none = [{"position": position, "amount": "0 g"} for position in fats]
    poured = maker.done(batch + "pour/", {"on": "2026-03-02", "actual": none})
    assert fats and poured["safety"] is None and poured["batch"]["superfat_poured"] is None
    assert poured["batch"]["poured_lot"]["state"] == "blocked"
    assert "no fat in it" in poured["batch"]["poured_lot"]["state_reason"]


def test_weights_as_poured_in_any_unit_and_from_other_lots(batch, maker, shelf):
    other = make_lot(shelf["olive"], 3 * KG)
    maker.done(batch + "reserve/")
    body = {
        "on": "2026-03-02",
        "actual": [{"position": 0, "amount": "1 lb 4 oz"}],
        "chosen": [{"material": "olive", "lot": other.code, "amount": "1 lb 4 oz"}],
        "poured": "1.05 kg",
    }
    poured = maker.done(batch + "pour/", body)
    pound = {"amount": "566.9904625", "unit": "g"}
    assert poured["batch"]["lines"][0]["actual"] == pound
    assert [lot for lot in poured["lots"] if lot["material"] == "olive"] == [
        {"material": "olive", "lot": other.code, "amount": pound}
    ]
    shown = maker.get(batch + "sheet/").json()["stages"][0]["lines"][0]
    assert shown["lots"] == [{"lot": other.code, "amount": pound}]
    assert prove_books().differences == ()


BAD_POUR = [
    ({"actual": [{"position": 99, "amount": "1 g"}]}, 422, ("actual.0.position", "unknown-line")),
    ({"actual": [{"position": 0, "amount": "1 g"}] * 2}, 422, ("actual.1.position", "line-twice")),
    (
        {"actual": [{"position": 0, "amount": "2 each"}]},
        422,
        ("actual.0.amount", "wrong-dimension"),
    ),
    ({"actual": [{"position": 0, "amount": "-2 g"}]}, 400, ("actual.0.amount", "negative")),
    (
        {"actual": [{"position": 0, "amount": "2 degC"}]},
        400,
        ("actual.0.amount", "wrong-dimension"),
    ),
    ({"actual": [{"position": 0, "amount": "6 kg"}]}, 409, ("materials.olive", "not-enough-stock")),
    (
        {"chosen": [{"material": "olive", "lot": "L-9", "amount": "1 g"}]},
        422,
        ("chosen", "chosen-amounts-differ"),
    ),
    ({"poured": "0 g"}, 422, ("poured", "weight-outside")),
    ({"poured": "11000 kg"}, 422, ("poured", "weight-outside")),
    ({"poured": "1 L"}, 400, ("poured", "wrong-dimension")),
    ({"minutes": -1}, 400, ("minutes", "min_value")),
    ({"on": "1999-12-31"}, 400, ("on", "day-outside")),
    ({"on": "9999-12-31"}, 400, ("on", "day-outside")),
    ({"weights": []}, 400, ("weights", "unknown-field")),
]


@pytest.mark.parametrize(("body", "status", "expected"), BAD_POUR)
def test_pours_that_cannot_be_change_nothing(batch, maker, body, status, expected):
    maker.done(batch + "reserve/")
    with nothing_changes():
        response = maker.post(batch + "pour/", {"on": "2026-03-02", **body})
        assert response.status_code == status, response.content
        assert expected in {(f["field"], f["code"]) for f in response.json()["errors"]}
    assert maker.get(batch).json()["state"] == "reserved"


@pytest.mark.parametrize(
    ("body", "status", "expected"),
    [
        ({"bars_good": 0}, 422, ("bars_good", "no-bars")),
        ({"bars_good": -1}, 400, ("bars_good", "min_value")),
        ({"bars_good": 10**9}, 400, ("bars_good", "max_value")),
        ({}, 400, ("bars_good", "required")),
        ({"bars_good": 8, "on": "2026-03-01"}, 422, ("on", "before-pour")),
    ],
)
def test_cuts_that_cannot_be(batch, maker, body, status, expected):
    maker.done(batch + "reserve/")
    maker.done(batch + "pour/", {"on": "2026-03-02"})
    with nothing_changes():
        response = maker.post(batch + "cut/", {"on": "2026-03-02", **body})
        assert response.status_code == status, response.content
        assert expected in {(f["field"], f["code"]) for f in response.json()["errors"]}


def cut_batch(maker, batch):
    maker.done(batch + "reserve/")
    maker.done(batch + "pour/", {"on": "2026-03-02"})
    maker.done(batch + "cut/", {"on": "2026-03-03", "bars_good": 8})


@pytest.mark.parametrize(
    ("body", "status", "expected"),
    [
        ({"on": "2026-03-29"}, 409, ("early_reason", "batch-conflict")),
        ({"on": "2026-03-01", "early_reason": "x"}, 422, ("on", "before-cut")),
        ({"packed": [{"material": "clay", "amount": "1 each"}]}, 422,
         ("packed.0.material", "unknown-material")),
        ({"packed": [{"material": "olive", "amount": "1 g"}]}, 422, ("packed", "invalid-input")),
        ({"packed": [{"material": "box", "amount": "1 kg"}]}, 422,
         ("packed.0.amount", "wrong-dimension")),
        ({"packed": [{"material": "box", "amount": "1/2 each"}]}, 422,
         ("packed.0.amount", "not-whole")),
        ({"packed": [{"material": "box", "amount": "101 each"}]}, 409,
         ("materials.box", "not-enough-stock")),
    ],
)  # fmt: skip
def test_cures_that_cannot_be(batch, maker, body, status, expected):
    cut_batch(maker, batch)
    with nothing_changes():
        response = maker.post(batch + "cure/", {"on": "2026-04-01", **body})
        assert response.status_code == status, response.content
        assert expected in {(f["field"], f["code"]) for f in response.json()["errors"]}


def test_more_packaging_than_planned_and_an_early_release_with_its_reason(batch, maker):
    cut_batch(maker, batch)
    body = {
        "on": "2026-03-10",
        "packed": [{"material": "box", "amount": "1 dozen"}],
        "early_reason": "samples",
    }
    cured = maker.done(batch + "cure/", body)
    assert cured["lines"][-1]["actual"] == {"amount": "12", "unit": "each"}
    assert "samples" in cured["note"]
    assert prove_books().differences == ()
