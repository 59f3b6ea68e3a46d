"""Suppliers and offers: packs in the supplier's own unit, prices for those who may see them."""

import pytest

from inventory.models.catalog.suppliers import Offer, Supplier
from tests.inventory.api.calls import each, g, nothing_changes, usd
from tests.inventory.api.conftest import HILLSIDE, fill_shelf
from tests.kept import once_a_module
from tests.studio.web.api.test_problems import problem_in

shelf_once = once_a_module(fill_shelf)

NEW = {**HILLSIDE, "code": "uphill"}
SHEA = {
    "code": "shea-25",
    "supplier": "hillside",
    "material": "shea-butter",
    "pack_written": "25 lb",
    "price": "119.50",
}


def test_a_supplier_is_kept_and_changed(owner):
    shown = owner.made("suppliers/", {**NEW, "minimum_order": "50", "email": "a@example.org"})
    assert shown["minimum_order"] == usd("50.00")
    changed = owner.patch("suppliers/uphill/", {"phone": "555-0100"}, match='"1"')
    assert (changed["ETag"], changed.json()["email"]) == ('"2"', "a@example.org")
    assert owner.put("suppliers/uphill/", NEW).json()["phone"] == ""


@pytest.mark.parametrize(
    ("wrong", "status", "field"),
    [
        ({"shoe_size": 9}, 400, "shoe_size"),
        ({"email": "nowhere"}, 400, "email"),
        ({"lead_time_days": -1}, 400, "lead_time_days"),
        ({"lead_time_days": 10_000}, 422, "lead_time_days"),
        ({"lead_time_days": 10**15}, 422, "lead_time_days"),
        ({"minimum_order": "-1"}, 400, "minimum_order"),
        ({"minimum_order": "1" * 20}, 400, "minimum_order"),
        ({"minimum_order": {"amount": "1", "currency": "EUR"}}, 400, "minimum_order"),
        ({"code": "a/b"}, 400, "code"),
        ({"name": "x" * 121}, 400, "name"),
    ],
)
def test_what_a_supplier_cannot_be(owner, wrong, status, field):
    with nothing_changes():
        answer = owner.post("suppliers/", {**NEW, **wrong})
    code = "invalid-fields" if status == 400 else "material-refusal"
    assert field in {e["field"] for e in problem_in(answer, status, code)["errors"]}


def test_an_offer_is_weighed(shelf):
    assert shelf.seen("offers/hill-shea/")["pack_amount"] == g("2267.96185")
    assert shelf.seen("offers/harbor-egg/")["pack_amount"] == each("12")
    olive = shelf.seen("offers/hill-olive/")
    # 231 cubic inches of 16.387064 mL (NIST Handbook 44, appendix C) at 0.911 g/mL
    assert olive["pack_amount"] == g("3448.510135224")
    assert (olive["pack_written"], olive["price"]) == ("1 gal", usd("24.00"))


def test_the_suppliers_own_density_goes_first(shelf):
    body = {**SHEA, "pack_written": {"amount": "2", "unit": "L"}, "density_g_ml": "0.95"}
    shown = shelf.made("offers/", body)
    assert (shown["pack_written"], shown["pack_amount"]) == ("2 L", g("1900"))


def test_offers_follow_a_changed_density(shelf):
    shelf.patch("materials/olive-oil/", {"density_g_ml": "0.9"})
    assert shelf.seen("offers/hill-olive/")["pack_amount"] == g("3406.8706056")


@pytest.mark.parametrize(
    ("wrong", "field", "code"),
    [
        ({"pack_written": "5 mL"}, "pack_written", "no-density"),
        ({"pack_written": "2 each"}, "pack_written", "wrong-dimension"),
        ({"pack_written": "0 kg"}, "pack_written", "nothing"),
        ({"material": "egg", "pack_written": "5 lb"}, "pack_written", "wrong-dimension"),
        ({"material": "egg", "pack_written": "1.5 each"}, "pack_written", "not-whole"),
        ({"material": "tallow"}, "material", "not-found"),
        ({"supplier": "nobody"}, "supplier", "not-found"),
        ({"density_g_ml": "911"}, "density_g_ml", "out-of-range"),
        ({"minimum_packs": 10**9}, "minimum_packs", "out-of-range"),
        ({"minimum_packs": 10**18}, "minimum_packs", "out-of-range"),
        ({"valid_from": "2026-05-01", "valid_until": "2026-04-01"}, "valid_until", None),
    ],
)
def test_what_an_offer_cannot_be(shelf, wrong, field, code):
    with nothing_changes():
        document = problem_in(shelf.post("offers/", {**SHEA, **wrong}), 422, "material-refusal")
    found = {e["field"]: e["code"] for e in document["errors"]}
    assert field in found and code in (None, found[field])


@pytest.mark.parametrize(
    ("wrong", "field"),
    [
        ({"price": "-1"}, "price"),
        ({"price": "1.23456"}, "price"),
        ({"price": None}, "price"),
        ({"pack_amount": "5 kg"}, "pack_amount"),
        ({"pack_written": 5}, "pack_written"),
        ({"pack_written": "3,5 kg"}, "pack_written"),
        ({"pack_written": "-1 kg"}, "pack_written"),
        ({"pack_written": "99999999 kg"}, "pack_written"),
        ({"pack_written": "a big drum"}, "pack_written"),
        ({"pack_written": {"amount": "5"}}, "pack_written"),
        ({"pack_written": {"amount": "5", "unit": "cm"}}, "pack_written"),
        ({"pack_written": "x" * 65}, "pack_written"),
        ({"valid_from": "1 May"}, "valid_from"),
        ({"discount": "5"}, "discount"),
    ],
)
def test_what_cannot_be_read_of_an_offer(shelf, wrong, field):
    with nothing_changes():
        document = problem_in(shelf.post("offers/", {**SHEA, **wrong}), 400, "invalid-fields")
    assert field in {e["field"] for e in document["errors"]}


def test_a_new_offer_states_its_price(shelf):
    body = {name: value for name, value in SHEA.items() if name != "price"}
    with nothing_changes():
        document = problem_in(shelf.post("offers/", body), 400, "invalid-fields")
    assert [(e["field"], e["code"]) for e in document["errors"]] == [("price", "required")]


def test_a_maker_changes_all_but_the_price(shelf, maker):
    assert "price" not in maker.seen("offers/hill-shea/")
    body = {"code": "hill-shea", "supplier": "hillside", "material": "shea-butter"}
    changed = maker.put("offers/hill-shea/", {**body, "pack_written": "6 lb"}, match='"1"')
    assert changed.status_code == 200 and "price" not in changed.json()
    assert Offer.objects.get(code="hill-shea").price == 240_000
    with nothing_changes():
        document = problem_in(
            maker.patch("offers/hill-shea/", {"price": "1"}), 400, "invalid-fields"
        )
        problem_in(maker.post("offers/", SHEA), 403, "not-allowed")
    assert [e["code"] for e in document["errors"]] == ["costs-closed"]


def test_a_makers_put_keeps_the_minimum_order(shelf, maker):
    shelf.patch("suppliers/hillside/", {"minimum_order": "75"})
    shown = maker.put("suppliers/hillside/", HILLSIDE).json()
    assert "minimum_order" not in shown
    assert Supplier.objects.get(code="hillside").minimum_order == 750_000


def test_filters(shelf):
    codes = [row["code"] for row in shelf.rows("offers/", supplier="hillside")]
    assert codes == ["hill-olive", "hill-shea"]
    assert [r["code"] for r in shelf.rows("offers/", material="egg")] == ["harbor-egg"]
    assert [r["code"] for r in shelf.rows("suppliers/", name_contains="harbor")] == ["harbor"]
