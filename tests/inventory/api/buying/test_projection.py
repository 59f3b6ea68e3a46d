"""Projections and demand over the API."""

from datetime import timedelta

import pytest
from django.utils import timezone

from inventory.models.catalog.materials import Material
from inventory.models.stock.lots import Lot
from inventory.services.buying.requirements import require
from tests.inventory.api.calls import each, g, nothing_changes, queries_of
from tests.inventory.api.conftest import fill_shelf
from tests.inventory.making import KG
from tests.inventory.using import used, used_weekly
from tests.kept import once_a_module
from tests.studio.web.api.test_problems import problem_in

shelf_once = once_a_module(fill_shelf)


def on(days):
    return timezone.localdate() + timedelta(days=days)


def need(code, amount, days, holder="batch:1"):
    pk = Material.objects.get(code=code).pk
    require({pk: amount}, holder=holder, due_on=on(days))


def codes(caller, **query):
    return [row["material"] for row in caller.rows("projection/", **query)]


def test_one_material_is_shown_day_by_day(shelf):
    need("olive-oil", 12 * KG, 4)
    shelf.patch("materials/olive-oil/", {"reorder_point": "10 kg"})
    seen = shelf.seen("materials/olive-oil/projection/", days=6)
    outlook, days = seen["outlook"], seen["days"]
    assert [day["on"] for day in days] == [on(n).isoformat() for n in range(6)]
    assert [day["balance"] for day in days] == [g("10000")] * 4 + [g("-2000")] * 2
    assert (days[4]["planned"], days[4]["forecast"]) == (g("12000"), None)
    assert outlook == shelf.seen("projection/olive-oil/", days=6)
    assert (outlook["first_short_on"], outlook["first_low_on"]) == (str(on(4)), str(on(0)))
    assert (outlook["cover_days"], outlook["outlasts"]) == (4, False)
    assert (outlook["lowest"], outlook["ending"]) == (g("-2000"), g("-2000"))


def test_what_is_not_known_of_use_is_null_for_each_day_and_in_sum(shelf):
    oil = Material.objects.get(code="olive-oil")

    def seen():
        told = shelf.seen("materials/olive-oil/projection/", days=6)
        outlook = [told["outlook"][name] for name in ("forecast", "cover_days", "outlasts")]
        return outlook, [day["forecast"] for day in told["days"]]

    assert seen() == ([None] * 3, [None] * 6)
    used_weekly(oil, [0, 0, 0, 0, KG, 0, 0, 0], on=timezone.localdate())
    (forecast, cover, outlasts), days = seen()
    assert forecast not in (None, g("0")) and None not in days
    assert (cover, outlasts) == (6, True)


def test_what_runs_short_is_found_and_paged(shelf):
    need("egg", 30, 3)
    need("shea-butter", 9 * KG, 60, holder="batch:2")
    assert codes(shelf) == ["egg", "olive-oil", "shea-butter"]
    assert codes(shelf, short="true") == ["egg", "shea-butter"]
    assert codes(shelf, short="true", days=30) == ["egg"]
    assert codes(shelf, short="false") == ["olive-oil"]
    assert codes(shelf, short="true", counted="true") == ["egg"]
    page = shelf.seen("projection/", short="true", page_size=1)
    rest = shelf.client.get(page["next"]).json()
    rows = page["results"] + rest["results"]
    assert [row["material"] for row in rows] == ["egg", "shea-butter"]
    assert rows[0]["lowest"] == each("-6")


def test_demand_shows_use_forecast_and_needs(shelf):
    oil = Material.objects.get(code="olive-oil")
    used_weekly(oil, [7 * KG, 5 * KG] * 6, on=on(0))
    need("olive-oil", 2 * KG, 4)
    seen = shelf.seen("materials/olive-oil/demand/")
    assert seen["period"] == "week" and len(seen["history"]) == 12
    assert seen["history"][-1] == {"from_day": str(on(-7)), "amount": g("5000")}
    forecast = seen["forecast"]
    assert (forecast["periods"], forecast["tested"]) == (12, 8)
    # Use changes by 2 kg from week to week.
    scaled = float(forecast["mean_absolute_error"]["amount"]) / 2000
    assert forecast["mean"] == g("6000")
    assert float(forecast["mean_absolute_scaled_error"]) == pytest.approx(scaled, rel=1e-5)
    assert 5000 < float(forecast["expected"]["amount"]) < 7000
    assert seen["requirements"] == [
        {"holder": "batch:1", "due_on": str(on(4)), "amount": g("2000"), "open": g("2000")}
    ]
    by_day = shelf.seen("materials/olive-oil/demand/", period="day")
    assert len(by_day["history"]) == 84


def test_parts_of_a_piece_are_expected_but_never_used(shelf):
    egg = Material.objects.get(code="egg")
    used_weekly(egg, [1, 0, 0] * 4, on=on(0))
    seen = shelf.seen("materials/egg/demand/")
    assert seen["forecast"]["mean"] == each("0.333333")
    assert seen["history"][0]["amount"] == each("1")
    days = shelf.seen("materials/egg/projection/", days=84)["days"]
    total = sum(int(day["forecast"]["amount"]) for day in days)
    assert abs(total - 12 * float(seen["forecast"]["expected"]["amount"])) <= 0.5


@pytest.mark.parametrize(
    ("path", "query"),
    [
        ("projection/", {"days": "0"}),
        ("projection/", {"days": "731"}),
        ("projection/", {"days": "٣"}),
        ("projection/", {"short": "yes"}),
        ("projection/", {"kind": "oil"}),
        ("projection/egg/", {"days": "-1"}),
        ("materials/egg/projection/", {"days": "1.5"}),
        ("materials/egg/projection/", {"short": "true"}),
        ("materials/egg/demand/", {"period": "month"}),
        ("materials/egg/demand/", {"days": "3"}),
    ],
)
def test_questions_that_cannot_be_read(shelf, path, query):
    answer = shelf.get(path, **query)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] in query


def test_who_may_look(shelf, viewer):
    paths = ("projection/", "projection/egg/", "materials/egg/projection/", "materials/egg/demand/")
    with nothing_changes():
        for path in paths:
            assert viewer.get(path).status_code == 200
    for path in paths[1:]:
        problem_in(viewer.get(path.replace("egg", "tallow")), 404, "not-found")


def test_more_lots_and_uses_take_no_more_queries(shelf):
    paths = {
        "projection/": {"short": "true"},
        "materials/egg/projection/": {},
        "materials/egg/demand/": {},
    }
    need("egg", 1000, 3, holder="batch:short")  # a page of nothing is not read
    before = [queries_of(shelf, path, **query) for path, query in paths.items()]
    lots = list(Lot.objects.all())
    for lot in lots:
        used(lot, {on(-day): 3 for day in range(1, 30)})
        need(lot.material.code, 1, 5, holder=f"batch:{lot.pk}")
    assert [queries_of(shelf, path, **query) for path, query in paths.items()] == before
