"""Molds: any unit in, millimeters and milliliters out; impossible ones are refused whole."""

import math
from decimal import Decimal

import pytest

from tests.recipes.api.calls import LOAF, Caller, changed, nothing_changes
from tests.studio.web.api.test_problems import problem_in

pytestmark = pytest.mark.django_db

CUBIC_INCH_ML = Decimal("16.387064")  # NIST SP 811: exact


@pytest.fixture
def maker():
    return Caller("maker")


def faults(response, status=422, code="invalid-input"):
    document = problem_in(response, status, code)
    return {(fault["field"], fault["code"]) for fault in document["errors"]}


def milliliters(given):
    assert given["unit"] == "mL"
    return Decimal(given["amount"])


def test_inches_become_millimeters_and_exact_volumes(maker):
    mold = maker.made(
        "molds/",
        changed(
            LOAF, length="10 in", width="3 1/2 in", depth={"amount": "2.5", "unit": "in"}, rows=10
        ),
    )
    assert mold["length"] == {"amount": "254", "unit": "mm"}
    assert milliliters(mold["full_volume"]) == Decimal("87.5") * CUBIC_INCH_ML
    assert mold["fill_volume"] == mold["full_volume"]
    assert mold["bars"] == 10


SHAPES = [
    # (what is sent, mL to the rim, mL to the fill height, bars)
    (
        {"shape": "tapered", "length": "20 cm", "width": "6 cm", "depth": "6 cm",
         "top_length": "22 cm", "top_width": "8 cm", "fill_height": "6 cm", "rows": 5},
        # prismatoid: h/6 (A0 + 4 Am + A1), any handbook of mathematics
        6 / 6 * (20 * 6 + 4 * 21 * 7 + 22 * 8), 6 / 6 * (120 + 588 + 176), 5,
    ),
    (
        {"shape": "cylinder", "diameter": "8 cm", "depth": "30 cm", "fill_height": "15 cm",
         "rows": 10},
        math.pi * 16 * 30, math.pi * 16 * 15, 10,
    ),
    (
        {"shape": "lying-cylinder", "diameter": "8 cm", "length": "20 cm", "fill_height": "4 cm",
         "rows": 8},
        math.pi * 16 * 20, math.pi * 16 * 10, 8,
    ),
    (
        {"shape": "slab", "length": "31 cm", "width": "20.5 cm", "depth": "3 cm",
         "divider": "5 mm", "rows": 2, "columns": 3},
        30 * 20 * 3, 30 * 20 * 3, 6,
    ),
    ({"shape": "measured", "measured_volume": "1 qt", "rows": 4}, 946.352946, 946.352946, 4),
    (
        {"shape": "rectangular", "length": "8 cm", "width": "5 cm", "depth": "3 cm",
         "cavities": 6},
        6 * 120, 6 * 120, 6,
    ),
]  # fmt: skip


@pytest.mark.parametrize(("shape", "full", "fill", "count"), SHAPES)
def test_every_shape_stored_and_computed_alike(maker, shape, full, fill, count):
    mold = maker.made("molds/", {"code": "m", "name": "M", **shape})
    computed = maker.done("compute/mold-volume/", shape)
    for answer in (mold, computed):
        assert float(milliliters(answer["full_volume"])) == pytest.approx(full, rel=1e-8)
        assert float(milliliters(answer["fill_volume"])) == pytest.approx(fill, rel=1e-8)
        assert answer["bars"] == count


BAD = [
    ({"length": "10 kg"}, 400, {("length", "wrong-dimension")}),
    ({"length": "-3 cm"}, 400, {("length", "negative")}),
    ({"length": "3,5 cm"}, 400, {("length", "comma")}),
    ({"lenght": "3 cm"}, 400, {("lenght", "unknown-field")}),
    ({"length": "10 m"}, 422, {("length", "too-long")}),
    ({"length": None, "width": "0 mm"}, 422,
     {("length", "size-missing"), ("width", "not-positive")}),
    ({"diameter": "3 cm"}, 422, {("diameter", "size-not-used")}),
    ({"fill_height": "7 cm", "trim": "12 cm"}, 422,
     {("fill_height", "invalid-input"), ("trim", "no-bars")}),
    ({"overfill_share": "1"}, 422, {("overfill_share", "outside-range")}),
    ({"overfill_share": "120 %"}, 400, {("overfill_share", "too-large")}),
    ({"rows": 0}, 422, {("rows", "not-positive")}),
    ({"rows": 1000, "columns": 1000}, 422, {("rows", "too-many-bars")}),
    ({"cavities": 10**30}, 400, {("cavities", "max_value")}),
    ({"shape": "egg"}, 400, {("shape", "invalid_choice")}),
    ({"full_volume": "3 L"}, 400, {("full_volume", "read-only")}),
]  # fmt: skip


@pytest.mark.parametrize(("change", "status", "expected"), BAD)
def test_what_cannot_be_is_refused_whole_and_changes_nothing(maker, change, status, expected):
    body = changed(LOAF, **change)
    with nothing_changes():
        code = "invalid-fields" if status == 400 else "invalid-input"
        assert faults(maker.post("molds/", body), status, code) == expected
        shape = {k: v for k, v in body.items() if k not in ("code", "name")}
        if "full_volume" not in shape:
            assert faults(maker.post("compute/mold-volume/", shape), status, code) == expected


def test_a_change_is_checked_like_a_new_mold(maker):
    etag = maker.post("molds/", LOAF)["ETag"]
    problem_in(maker.patch("molds/loaf/", {"rows": 9}), 428, "if-match-missing")
    with nothing_changes():
        refused = maker.patch("molds/loaf/", {"fill_height": "1 m"}, **{"If-Match": etag})
        assert faults(refused) == {("fill_height", "invalid-input")}
        assert maker.get("molds/loaf/")["ETag"] == etag
    changed_mold = maker.patch("molds/loaf/", {"fill_height": "3 cm"}, **{"If-Match": etag})
    assert milliliters(changed_mold.json()["fill_volume"]) == 24 * 7 * 3
    problem_in(maker.patch("molds/loaf/", {"rows": 9}, **{"If-Match": etag}), 412, "stale")


def test_a_code_already_taken_is_a_clash(maker):
    maker.made("molds/", LOAF)
    with nothing_changes():
        assert faults(maker.post("molds/", LOAF), 409, "already-taken")
