"""Labels over HTTP: drafts as JSON, sheets as PDF, bad grids refused."""

import pytest
from django.test import override_settings
from rest_framework.test import APIClient

from recipes.paper.labels import address
from tests.kept import once_a_module
from tests.recipes.api.calls import Caller, fill_shelf, plan_batch, write_recipe
from tests.studio.web.api.test_problems import problem_in

pytestmark = pytest.mark.django_db


def cut_batch():
    """The code of a batch of eight bars that were cut."""
    fill_shelf()
    maker = Caller("maker")
    code = plan_batch(maker, write_recipe(maker))
    maker.done(f"batches/{code}/reserve/")
    maker.done(f"batches/{code}/pour/", {"on": "2026-03-02"})
    maker.done(f"batches/{code}/cut/", {"on": "2026-03-03", "bars_good": 8})
    return code


batch_once = once_a_module(cut_batch)


@pytest.fixture
def batch(batch_once):
    return batch_once.fresh()


@pytest.fixture
def maker():
    return Caller("maker")


def test_a_draft_tells_all_that_a_label_needs(maker, batch):
    told = maker.get(
        f"batches/{batch}/label/", convention="added", wording="us", net_weight="4 oz"
    ).json()
    assert told["ingredients"][2] == "Water"
    assert told["lot"] == batch
    assert told["net_weight"] == {"amount": "113.3980925", "unit": "g"}
    assert "local law" in told["statement"]
    assert sum(round(float(one["share"]) * 10**6) for one in told["listed"]) == 10**6
    assert {"inci-missing", "allergens-unstated"} <= {one["code"] for one in told["notices"]}
    results = maker.get(f"batches/{batch}/label/").json()
    assert "Glycerin" in results["ingredients"]
    assert results["superfat"].startswith("0.06")


def test_allergens_of_a_lot_reach_the_label(maker, batch):
    lot = next(
        lot["code"] for lot in maker.get("lots/").json()["results"] if lot["material"] == "scent"
    )
    body = {"allergens": [{"name": "Linalool", "share": "0.3"}]}
    stored = Caller("owner").done(f"lots/{lot}/certificate/", body)
    assert stored["allergens"] == [{"name": "Linalool", "share": "0.3"}]
    told = maker.get(f"batches/{batch}/label/").json()
    assert [one["name"] for one in told["allergens"]] == ["Linalool"]
    assert told["ingredients"][-1] == "Linalool"


@pytest.mark.parametrize(
    "path",
    [
        "batches/{batch}/bar-labels.pdf",
        "batches/{batch}/rack-labels.pdf",
        "lots/{batch}/labels.pdf",
    ],
)
def test_sheets_are_pdfs_on_either_paper(maker, batch, path):
    for paper in ("a4", "letter"):
        query = {"paper": paper, "rows": 5, "columns": 2, "margin_top": "1/2 in", "start": 3}
        answer = maker.get(path.format(batch=batch), **query)
        assert answer.status_code == 200, answer.content
        assert answer.content.startswith(b"%PDF")
        assert answer.headers["Content-Type"] == "application/pdf"


@pytest.mark.parametrize(
    ("query", "status", "code", "field"),
    [
        ({"rows": 0}, 400, "invalid-fields", "rows"),
        ({"columns": "x"}, 400, "invalid-fields", "columns"),
        ({"margin_top": "1 kg"}, 400, "invalid-fields", "margin_top"),
        ({"start": 99}, 422, "invalid-input", "start"),
        ({"columns": 30}, 422, "invalid-input", "columns"),
        ({"count": 3000}, 400, "invalid-fields", "count"),
        ({"paper": "a5"}, 422, "invalid-input", "paper"),
        ({"color": "red"}, 400, "unknown-query", "color"),
        ({"rows": 16, "columns": 7}, 422, "label-refused", "rows"),
    ],
)
def test_a_grid_that_cannot_be_printed_is_refused(batch, query, status, code, field):
    answer = Caller("viewer").get(f"batches/{batch}/bar-labels.pdf", **query)
    document = problem_in(answer, status, code)
    assert [fault["field"] for fault in document["errors"]] == [field]


def test_what_is_not_there_has_no_label(maker):
    for path in ("batches/none/label/", "batches/none/rack-labels.pdf", "lots/none/labels.pdf"):
        problem_in(maker.get(path), 404, "not-found")


def test_strangers_print_nothing(maker, batch):
    for path in ("label/", "bar-labels.pdf", "rack-labels.pdf"):
        assert APIClient().get(f"/api/v1/batches/{batch}/{path}").status_code == 401
    assert Caller("viewer").get(f"batches/{batch}/label/").status_code == 200


def test_codes_lead_to_the_studio_as_it_is_set():
    with override_settings(STUDIO_URL="https://studio.example/"):
        assert address("/api/v1/lots/L-1/") == "https://studio.example/api/v1/lots/L-1/"
