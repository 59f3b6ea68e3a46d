"""Weighing, recording and printing over the API, and what a batch record must hold."""

import pytest

from inventory.models.stock.lots import Lot
from inventory.services.stock.proof import prove_books
from recipes.models.bench.batches import BatchLine, Weighing
from tests.inventory.making import KG, make_lot
from tests.kept import once_a_module
from tests.recipes.api.calls import (
    VERSION,
    Caller,
    fill_shelf,
    nothing_changes,
    plan_batch,
    write_recipe,
)
from tests.studio.foundation.paper.reading import sizes_of, text_of
from tests.studio.web.api.test_problems import problem_in

pytestmark = pytest.mark.django_db
G = KG // 1000


def reserve_batch():
    """The address of a reserved batch of eight bars."""
    fill_shelf()
    maker = Caller("maker")
    here = f"batches/{plan_batch(maker, write_recipe(maker))}/"
    maker.done(here + "reserve/")
    return here


batch_once = once_a_module(reserve_batch)


@pytest.fixture
def batch(batch_once):
    return batch_once.fresh()


@pytest.fixture
def maker():
    return Caller("maker")


def position(code):
    return BatchLine.objects.get(material__code=code).position


def test_a_reading_in_any_unit_is_kept_as_it_was_written(batch, maker):
    body = {"position": position("olive"), "amount": "1 lb 1 oz", "note": "drum 2"}
    answer = maker.done(batch + "weigh/", body)
    [deviation] = answer["deviations"]
    # 17 oz of 28.349523125 g each.
    assert deviation["actual"] == {"amount": "481.941893125", "unit": "g"}
    [weighing] = Weighing.objects.all()
    assert (weighing.written, weighing.note) == ("1 lb 1 oz", "drum 2")
    assert weighing.by.username
    line = maker.get(batch + "sheet/").json()["stages"][0]["lines"][0]
    assert line["actual"] == deviation["actual"] and line["target"] == deviation["planned"]
    assert line["weighings"][0]["written"] == "1 lb 1 oz"
    body = {"position": position("scent"), "amount": {"amount": "2", "unit": "tsp"}}
    answer = maker.done(batch + "weigh/", body)
    # US teaspoon 4.92892159375 mL at 0.95 g/mL.
    assert {d["material"] for d in answer["deviations"]} == {"olive", "scent"}
    assert Weighing.objects.get(line__material__code="scent").written == "2 tsp"


def test_a_swap_names_its_lots_and_the_pour_takes_them(batch, maker):
    other = make_lot(Lot.objects.get(material__code="olive").material, KG)
    first = Lot.objects.exclude(pk=other.pk).get(material__code="olive")
    lots = [{"lot": other.code, "amount": "300 g"}, {"lot": first.code, "amount": "0.2 kg"}]
    maker.done(batch + "weigh/", {"position": position("olive"), "amount": "500 g", "lots": lots})
    line = maker.get(batch + "sheet/").json()["stages"][0]["lines"][0]
    assert [lot["lot"] for lot in line["lots"]] == [other.code, first.code]
    assert line["short"] == {"amount": "0", "unit": "g"}
    maker.done(batch + "pour/")
    other.refresh_from_db()
    first.refresh_from_db()
    assert (other.on_hand, first.on_hand) == (700 * G, 5 * KG - 200 * G)
    assert prove_books().differences == ()


def test_the_running_superfat_follows_the_readings(batch, maker):
    before = maker.get(batch + "actuals/").json()
    assert before["superfat"] == before["superfat_planned"] and not before["lye_heavy"]
    assert position("naoh") in before["not_weighed"] and before["cautions"]
    after = maker.done(batch + "weigh/", {"position": position("naoh"), "amount": "150 g"})
    assert after["lye_heavy"] and after["superfat"].startswith("-")
    assert [d["outside"] for d in after["deviations"]] == [True]
    held = maker.done(batch + "pour/")
    assert held["batch"]["poured_lot"]["state"] == "blocked"
    assert maker.get(batch + "actuals/").json()["superfat"] == after["superfat"]
    maker.done(batch + "cut/", {"bars_good": 8})
    problem_in(
        maker.post(batch + "cure/", {"early_reason": "never", "on": "2100-01-01"}),
        409,
        "batch-conflict",
    )


def test_the_bench_is_recorded_in_any_unit(batch, maker):
    body = {"oil_temperature": "104 degF", "poured": "2 lb", "trace_minutes": 6, "note": "calm"}
    record = maker.done(batch + "record/", body)["record"]
    assert record["oil_temperature"] == {"amount": "40", "unit": "degC"}
    assert record["poured"] == {"amount": "907.18474", "unit": "g"}
    answer = maker.done(batch + "record/", {"lye_temperature": "38 degC"})
    assert answer["record"]["trace_minutes"] == 6 and "calm" in answer["note"]


@pytest.mark.parametrize(
    ("body", "status", "expected"),
    [
        ({}, 400, {("position", "required"), ("amount", "required")}),
        ({"position": 99, "amount": "1 g"}, 422, {("position", "invalid-input")}),
        ({"position": 0, "amount": "-1 g"}, None, None),
        ({"position": 0, "amount": "1 cm"}, 400, None),
        ({"position": 0, "amount": "8 each"}, 422, None),
        (
            {"position": 0, "amount": "1 g", "lots": [{"lot": "no-such"}]},
            404,
            {("lots", "not-found")},
        ),
        ({"position": 0, "amount": "1 g", "lots": [{"lot": "a b"}]}, 400, None),
        ({"position": 0, "amount": "9000 kg"}, 409, None),
        ({"position": 0, "amount": "1 g", "batch": "x"}, 400, {("batch", "unknown-field")}),
        (
            {"position": 0, "amount": "2 g", "lots": [{"lot": "a", "amount": "1 g"}, {"lot": "b"}]},
            422,
            {("lots.1.amount", "amount-missing")},
        ),
    ],
)
def test_readings_that_cannot_be_change_nothing(batch, maker, body, status, expected):
    with nothing_changes():
        response = maker.post(batch + "weigh/", body)
        assert response.status_code == status if status else 400 <= response.status_code < 500
        if expected:
            document = response.json()
            assert {(f["field"], f["code"]) for f in document["errors"]} == expected


@pytest.mark.parametrize("step", ["weigh", "record"])
def test_the_bench_needs_a_key_a_role_and_a_reserved_batch(batch, maker, step):
    body = {"weigh": {"position": 0, "amount": "1 g"}, "record": {"trace_minutes": 1}}[step]
    with nothing_changes():
        assert Caller("viewer").post(batch + step + "/", body).status_code == 403
        without = maker.client.post(f"/api/v1/{batch}{step}/", body, format="json")
        assert without.status_code == 400
        problem_in(maker.post(f"batches/B-9/{step}/", body), 404, "not-found")
    maker.done(batch + "unreserve/")
    with nothing_changes():
        problem_in(maker.post(batch + step + "/", body), 409, "batch-conflict")


#: What a record of a batch holds by ISO 22716:2007 clause 7 (from memory), and where it is here.
RECORD = {
    "batch number": "batch",
    "product": "formula_name",
    "formula and its version": "version",
    "who planned it": "planned_by",
    "day": "on",
    "equipment: mold": "mold",
    "equipment: what the scale shows": "scale_step",
    "raw materials": "stages.0.lines.0.material",
    "lots of raw materials": "stages.0.lines.0.lots.0.lot",
    "quantity wanted": "stages.0.lines.0.target",
    "quantity allowed to differ": "stages.0.lines.0.tolerance",
    "quantity weighed": "stages.0.lines.0.actual",
    "lot weighed from": "stages.0.lines.0.weighings.0.lot",
    "who weighed": "stages.0.lines.0.weighings.0.by",
    "when it was weighed": "stages.0.lines.0.weighings.0.weighed_at",
    "steps": "lye.steps.0",
    "in-process check: oils": "actuals.record.oil_temperature",
    "in-process check: lye": "actuals.record.lye_temperature",
    "in-process check: at the pour": "actuals.record.poured_temperature",
    "in-process check: trace": "actuals.record.trace_minutes",
    "yield of the bulk": "actuals.record.poured",
    "labor": "actuals.record.minutes",
    "result: superfat": "actuals.superfat",
    "result: lye concentration": "actuals.lye_concentration",
    "deviations": "actuals.deviations.0.difference",
    "lot of the bulk": "poured_lot.code",
    "state of the bulk": "poured_lot.state",
    "lot of the packed goods": "bar_lot.code",
    "state of the packed goods": "bar_lot.state",
    "remarks": "note",
    "safety cautions": "cautions.0.text",
}


def test_the_sheet_holds_all_that_a_batch_record_must(batch, maker):
    maker.done(batch + "weigh/", {"position": 0, "amount": "501 g"})
    body = {
        "oil_temperature": "40 degC",
        "lye_temperature": "39 degC",
        "poured_temperature": "38 degC",
        "trace_minutes": 6,
        "poured": "990 g",
        "note": "calm",
    }
    maker.done(batch + "record/", body)
    maker.done(batch + "pour/", {"minutes": 30})
    maker.done(batch + "cut/", {"bars_good": 8})
    sheet = maker.get(batch + "sheet/").json()
    missing = []
    for what, path in RECORD.items():
        value = sheet
        for name in path.split("."):
            value = value[int(name)] if name.isdigit() else value[name]
        if value in (None, "", [], {}):
            missing.append(what)
    assert missing == []


@pytest.mark.parametrize(("paper", "size"), [("a4", (595, 842)), ("letter", (612, 792))])
def test_the_sheet_on_paper(batch, maker, paper, size):
    code = batch.split("/")[1]
    response = maker.get(batch + "sheet.pdf", paper=paper)
    assert (response.status_code, response["Content-Type"]) == (200, "application/pdf")
    assert response["Content-Disposition"] == f'inline; filename="{code}-sheet.pdf"'
    assert sizes_of(response.content) == {size}
    assert code in text_of(response.content)


def test_paper_is_refused_like_everything_else(batch, maker, client):
    problem_in(maker.get(batch + "sheet.pdf", paper="a5"), 422, "invalid-input")
    problem_in(maker.get(batch + "sheet.pdf", color="red"), 400, "unknown-query")
    problem_in(maker.get("batches/B-9/sheet.pdf"), 404, "not-found")
    assert client.get(f"/api/v1/{batch}sheet.pdf").status_code in (401, 403)
    asked = {"HTTP_ACCEPT": "application/pdf"}
    here = f"/api/v1/{batch}sheet.pdf"
    assert maker.client.get(here, **asked).content.startswith(b"%PDF")
    problem_in(maker.client.get(here, {"paper": "a5"}, **asked), 422, "invalid-input")


def test_the_rinse_of_a_version_and_tempering_of_a_material_reach_the_sheet(maker):
    etag = maker.get("materials/coconut/")["ETag"]
    changed = maker.patch("materials/coconut/", {"tempering": True}, **{"If-Match": etag})
    assert changed.status_code == 200 and changed.json()["tempering"]
    code = write_recipe(maker, naoh=None, masterbatch="strong-lye", rinse_share="20 %")
    assert maker.get(f"formulas/{code}/versions/1/").json()["rinse_share"] == "0.2"
    sheet = maker.get(f"batches/{plan_batch(maker, code)}/sheet/").json()
    water = float(sheet["lye"]["extra_water"]["amount"])
    assert 0 < float(sheet["lye"]["rinse"]["amount"]) <= water * 0.2
    assert "Coconut" in sheet["tempering"][0]
    refused = maker.post(f"formulas/{code}/versions/", {**VERSION, "rinse_share": "1"})
    document = problem_in(refused, 422, "formula-invalid")
    assert {fault["field"] for fault in document["errors"]} == {"rinse_share"}
