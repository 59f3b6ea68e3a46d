"""Materials: read, kept and changed exactly, or refused with every reason."""

import pytest

from inventory.models.catalog.materials import Material
from tests.inventory.api.calls import g, nothing_changes
from tests.inventory.api.conftest import OLIVE
from tests.studio.web.api.test_problems import problem_in

COCONUT = {
    "code": "coconut-oil",
    "name": "Coconut oil",
    "kind": "fat",
    "inci_name": "Cocos Nucifera Oil",
    "density_g_ml": "0.924",
    "density_temperature_c": "25",
    "sv_mg_koh_g": "257",
    "sv_low_mg_koh_g": "248",
    "sv_high_mg_koh_g": "265",
    "iodine_value": "8.5",
    # Within the ranges of Codex CXS 210, table 1, for coconut oil.
    "fatty_acids": {"C12:0": "0.48", "myristic": "19 %"},
    "shelf_life_days": 720,
    "reorder_point": "11 lb",
    "reorder_to": {"amount": "20", "unit": "L"},
}


def test_a_material_is_kept_and_shown_exactly(owner):
    shown = owner.made("materials/", COCONUT)
    assert shown["fatty_acids"] == {"C12:0": "0.48", "C14:0": "0.19"}
    assert shown["reorder_point"] == g("4989.51607")  # 11 lb of 453.59237 g (NIST SP 811)
    assert shown["reorder_to"] == g("18480")
    assert (shown["sv_mg_koh_g"], shown["revision"], shown["gaps"]) == ("257", 1, [])
    assert owner.seen("materials/coconut-oil/") == shown


def test_what_is_missing_is_named_not_refused(owner):
    shown = owner.made("materials/", OLIVE)
    assert [gap["code"] for gap in shown["gaps"]] == ["saponification-value-missing"]


def test_a_change_names_the_revision_it_was_made_from(owner):
    owner.made("materials/", COCONUT)
    changed = owner.patch("materials/coconut-oil/", {"name": "Coconut"}, match='"1"')
    assert changed.status_code == 200 and changed["ETag"] == '"2"'
    assert changed.json()["fatty_acids"] == {"C12:0": "0.48", "C14:0": "0.19"}
    assert changed.json()["reorder_to"] == g("18480")
    with nothing_changes():
        stale = owner.patch("materials/coconut-oil/", {"name": "Other"}, match='"1"')
        problem_in(stale, 412, "stale")
        without = owner.patch("materials/coconut-oil/", {"name": "Other"}, match=None)
        problem_in(without, 428, "if-match-missing")


def test_put_replaces_and_patch_keeps(owner):
    owner.made("materials/", COCONUT)
    whole = {"code": "coconut-oil", "name": "Coconut oil", "kind": "fat"}
    shown = owner.put("materials/coconut-oil/", whole).json()
    assert shown["fatty_acids"] == {} and shown["reorder_point"] is None
    shown = owner.patch("materials/coconut-oil/", {"fatty_acids": {"lauric": "0.5"}}).json()
    assert shown["fatty_acids"] == {"C12:0": "0.5"} and shown["revision"] == 3


def test_a_code_may_be_corrected(shelf):
    for path in ("materials/olive-oil/", "suppliers/hillside/", "offers/hill-olive/"):
        changed = shelf.patch(path, {"code": "corrected"})
        assert changed.status_code == 200 and changed.json()["code"] == "corrected"
    assert shelf.seen("lots/L-00001/")["material"] == "corrected"
    assert shelf.seen("offers/corrected/")["supplier"] == "corrected"


def test_history_says_who_changed_it(owner):
    owner.made("materials/", OLIVE)
    owner.patch("materials/olive-oil/", {"name": "Olive"})
    history = Material.objects.get().history.all()
    assert [row.history_user is not None for row in history] == [True, True]


UNREADABLE = [
    ({"densty": "0.9"}, "densty", "unknown-field"),
    ({"revision": 7}, "revision", "read-only"),
    ({"kind": "oil"}, "kind", "invalid_choice"),
    ({"code": "no spaces"}, "code", "invalid"),
    ({"name": ""}, "name", "blank"),
    ({"density_g_ml": "0,91"}, "density_g_ml", "not-a-number"),
    ({"density_g_ml": "0.9112345"}, "density_g_ml", "too-precise"),
    ({"sv_mg_koh_g": "1e3"}, "sv_mg_koh_g", "not-a-number"),
    ({"reorder_point": "3,5 kg"}, "reorder_point", "comma"),
    ({"reorder_point": "-1 kg"}, "reorder_point", "negative"),
    ({"reorder_point": "10000000 kg"}, "reorder_point", "too-large"),
    ({"reorder_point": "2 each"}, "reorder_point", "wrong-dimension"),
    ({"reorder_point": "5 mL"}, "reorder_point", "no-density"),
    ({"reorder_point": "20 cm"}, "reorder_point", "wrong-dimension"),
    ({"reorder_point": {"amount": "1"}}, "reorder_point", "missing-member"),
    ({"piece_mass": "5 mL"}, "piece_mass", "wrong-dimension"),
    ({"fatty_acids": ["C12:0"]}, "fatty_acids", "not_a_dict"),
    ({"fatty_acids": {f"C{n}:0": "0.1" for n in range(41)}}, "fatty_acids", "too-many"),
    ({"shelf_life_days": "soon"}, "shelf_life_days", "invalid"),
]


@pytest.mark.parametrize(("wrong", "field", "code"), UNREADABLE)
def test_what_cannot_be_read_is_refused(owner, wrong, field, code):
    plain = {"code": "fresh", "name": "Fresh", "kind": "fat"}
    with nothing_changes():
        document = problem_in(owner.post("materials/", {**plain, **wrong}), 400, "invalid-fields")
    assert (field, code) in {(e["field"], e["code"]) for e in document["errors"]}


IMPOSSIBLE = [
    ({"density_g_ml": "911"}, "density_g_ml", "out-of-range"),
    ({"density_g_ml": "-1"}, "density_g_ml", "out-of-range"),
    ({"sv_mg_koh_g": "0.134"}, "sv_mg_koh_g", "out-of-range"),
    ({"water_share": "0.9", "fat_share": "0.2"}, "water_share", "composition-impossible"),
    ({"purity": "97"}, "purity", "out-of-range"),
    ({"fatty_acids": {"lauric": "0.6", "C12:0": "0.1"}}, "fatty_acids.C12:0", "acid-twice"),
    ({"fatty_acids": {"lauric": "0.6", "oleic": "0.6"}}, "fatty_acids", "too-many-fatty-acids"),
    ({"fatty_acids": {"omega": "0.6"}}, "fatty_acids", "invalid-input"),
    ({"kind": "alkali"}, "alkali", "alkali-missing"),
    ({"piece_mass": "50 g"}, "piece_mass", "not-counted"),
    ({"shelf_life_days": 10**9}, "shelf_life_days", "out-of-range"),
    ({"shelf_life_days": 10**18}, "shelf_life_days", "out-of-range"),
    ({"reorder_to": "5 kg"}, "reorder_point", "reorder-point-missing"),
    ({"reorder_point": "6 kg", "reorder_to": "5 kg"}, "reorder_to", "reorder-order"),
]


@pytest.mark.parametrize(("wrong", "field", "code"), IMPOSSIBLE)
def test_what_cannot_be_so_is_refused(owner, wrong, field, code):
    plain = {"code": "fresh", "name": "Fresh", "kind": "fat"}
    with nothing_changes():
        document = problem_in(owner.post("materials/", {**plain, **wrong}), 422, "material-refusal")
    assert (field, code) in {(e["field"], e["code"]) for e in document["errors"]}


def test_all_reasons_are_told_at_once(owner):
    wrong = {**COCONUT, "density_g_ml": "911", "iodine_value": "999", "purity": "97"}
    del wrong["reorder_to"]
    document = problem_in(owner.post("materials/", wrong), 422, "material-refusal")
    assert {e["field"] for e in document["errors"]} == {"density_g_ml", "iodine_value", "purity"}


def test_a_code_is_taken_once(owner):
    owner.made("materials/", OLIVE)
    with nothing_changes():
        problem_in(owner.post("materials/", OLIVE), 409, "already-taken")


def test_the_unit_is_fixed_once_there_is_stock(shelf):
    with nothing_changes():
        answer = shelf.patch("materials/olive-oil/", {"counted": True})
        document = problem_in(answer, 422, "material-refusal")
    assert [e["code"] for e in document["errors"]] == ["unit-fixed"]


def test_an_amount_does_not_change_its_unit_silently(owner):
    owner.made("materials/", COCONUT)
    with nothing_changes():
        answer = owner.patch("materials/coconut-oil/", {"counted": True})
        document = problem_in(answer, 400, "invalid-fields")
    assert [e["code"] for e in document["errors"]] == ["unit-changed"] * 2


def test_a_density_that_offers_rest_on_stays(shelf):
    with nothing_changes():
        answer = shelf.patch("materials/olive-oil/", {"density_g_ml": None})
        document = problem_in(answer, 422, "material-refusal")
    assert [e["code"] for e in document["errors"]] == ["density-in-use"]


def test_filters(shelf):
    def codes(**query):
        return [row["code"] for row in shelf.rows("materials/", **query)]

    assert codes(kind="fat") == ["olive-oil", "shea-butter"]
    assert codes(counted="true") == ["egg"]
    assert codes(name_contains="OIL", active="true") == ["olive-oil"]
    assert codes(active="false") == []
