"""The arithmetic alone: nothing is read from the database and nothing stored."""

from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from rest_framework.test import APIClient

from tests.recipes.api.calls import Caller, changed, nothing_changes

pytestmark = pytest.mark.django_db
FIXTURES = settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])

LYE = {
    "fats": [
        {"name": "olive", "mass": "700 g", "sv": "190"},
        {"name": "coconut", "mass": "300 g", "sv_low": "248", "sv_high": "264"},
    ],
    "superfat": "5 %",
    "lye_concentration": "33 %",
    "resolution": "1 mg",
}
SCALE = {
    "lines": [
        {
            "material": {"name": "Olive", "kind": "fat", "sv": "190", "iodine_value": "84",
                         "fatty_acids": {"C16:0": "0.12", "C18:1": "0.88"}},
            "basis": "share-of-fats",
            "amount": "70 %",
        },
        {
            "material": {"name": "Coconut", "kind": "fat", "sv": "256", "sv_low": "248",
                         "iodine_value": "9", "fatty_acids": {"C12:0": "1"}},
            "basis": "share-of-fats",
            "amount": "0.3",
        },
        {
            "material": {"name": "Scent", "kind": "fragrance", "ifra_category9_max": "0.05"},
            "basis": "of-fats",
            "amount": "0.03",
            "stage": "trace",
        },
    ],
    "superfat": "0.05",
    "lye_concentration": "0.33",
    "target": {"fats": "1 kg"},
}  # fmt: skip


@pytest.fixture
def viewer():
    return Caller("viewer")


def grams(given):
    assert given["unit"] == "g"
    return Decimal(given["amount"])


def test_lye_by_hand(viewer):
    answer = viewer.done("compute/lye/", LYE)
    # ISO 3657: mg KOH per g; molar masses from the standard atomic weights.
    koh = (700 * Decimal(190) + 300 * Decimal(256)) / 1000
    naoh = koh * Decimal("39.9971") / Decimal("56.1056") * Decimal("0.95")
    assert abs(grams(answer["naoh"]) - naoh) < Decimal("0.001")
    assert abs(grams(answer["extra_water"]) - naoh * 67 / 33) < Decimal("0.002")
    assert Decimal(answer["superfat_worst"]) < Decimal(answer["superfat"])
    assert Decimal(answer["superfat"]) < Decimal(answer["superfat_best"])
    assert {"lye-burns", "rinse-and-seek-help"} <= {c["code"] for c in answer["cautions"]}


def test_acids_take_their_alkali_first(viewer):
    plain = viewer.done("compute/lye/", LYE)
    acid = [{"mass": "10 g", "acid": "citric_anhydrous"}]
    more = viewer.done("compute/lye/", {**LYE, "acids": acid})
    # three moles of NaOH for one of citric acid
    expected = 10 * 3 * Decimal("39.9971") / Decimal("192.1238")
    assert abs(grams(more["naoh"]) - grams(plain["naoh"]) - expected) < Decimal("0.002")


def test_a_stored_lye_replaces_dry_alkali_and_part_of_the_water(viewer):
    dry = viewer.done("compute/lye/", LYE)
    stored = viewer.done("compute/lye/", {**LYE, "masterbatch_strength": "0.5"})
    assert grams(stored["naoh"]) == 0
    assert abs(grams(stored["masterbatch"]) - 2 * grams(dry["naoh"])) < Decimal("0.002")
    assert abs(grams(stored["lye"]) - grams(dry["lye"])) < Decimal("0.01")
    assert "dilution-heat" in {c["code"] for c in stored["cautions"]}


def test_no_superfat_warns_that_the_low_end_is_lye_heavy(viewer):
    answer = viewer.done("compute/lye/", {**LYE, "superfat": 0})
    assert Decimal(answer["superfat_worst"]) < 0 <= Decimal(answer["superfat"])
    assert answer["notices"][0]["code"] == "lye-heavy-at-range-end"


@FIXTURES
@given(factor=st.integers(1, 50), superfat=st.integers(0, 30), koh=st.integers(0, 10))
def test_lye_grows_with_the_fats_and_superfat_is_what_was_asked(viewer, factor, superfat, koh):
    body = {**LYE, "superfat": f"{superfat} %", "koh_share": f"{koh * 10} %"}
    more = changed(body, fats__0__mass=f"{700 * factor} g", fats__1__mass=f"{300 * factor} g")
    one, many = viewer.done("compute/lye/", body), viewer.done("compute/lye/", more)
    # alkali is off by half a step each; the water follows the rounded alkali at 67 to 33
    for name, steps in (("naoh", 1), ("koh", 1), ("extra_water", 6)):
        step = Decimal("0.001") * factor * steps
        assert abs(grams(many[name]) - factor * grams(one[name])) <= step
    assert abs(Decimal(many["superfat"]) - Decimal(superfat) / 100) <= Decimal("0.0001")


BAD_LYE = [
    ({"superfat": "-1 %"}, 400, ("superfat", "too-small")),
    ({"superfat": None}, 400, ("superfat", "required")),
    ({"superfat": "31 %"}, 422, ("superfat", "outside-range")),
    ({"lye_concentration": "60 %"}, 422, ("lye_concentration", "lye-concentration-outside")),
    ({"masterbatch_strength": "30 %"}, 422, ("masterbatch_strength", "masterbatch-too-weak")),
    ({"naoh_purity": "20 %"}, 422, ("naoh_purity", "outside-range")),
    ({"koh_share": "101 %"}, 400, ("koh_share", "too-large")),
    ({"fats": []}, 422, ("fats", "no-fats")),
    ({"fats__0__mass": "700 mL"}, 400, ("fats.0.mass", "wrong-dimension")),
    ({"fats__0__mass": "-700 g"}, 400, ("fats.0.mass", "negative")),
    ({"fats__0__mass": "0 g"}, 422, ("fats.0.mass", "mass-outside")),
    ({"fats__0__mass": "20000 kg"}, 422, ("fats.0.mass", "mass-outside")),
    ({"fats__0__mass": "9" * 30 + " kg"}, 400, ("fats.0.mass", "too-large")),
    ({"fats__0__sv": "0.19"}, 422, ("fats.0.sv", "saponification-value-implausible")),
    ({"fats__0__sv": None}, 400, ("fats.0.sv", "invalid-input")),
    ({"fats__1__sv_low": None}, 400, ("fats.1.sv", "invalid-input")),
    ({"fats__1__sv": "270"}, 422, ("fats.1.sv", "range-turned")),
    ({"acids": [{"mass": "1 g"}]}, 400, ("acids.0.acid", "invalid-input")),
    ({"acids": [{"mass": "1 g", "acid": "oxalic"}]}, 400, ("acids.0.acid", "invalid_choice")),
    ({"acids": [{"mass": "1 g", "naoh_g_per_g": 9}]}, 422, ("acids.0.naoh_g_per_g", "implausible")),
    ({"resolution": "0 g"}, 422, ("resolution", "resolution-outside")),
    ({"resolution": "1 kg"}, 422, ("resolution", "cannot-scale")),
    ({"oils": []}, 400, ("oils", "unknown-field")),
]


@pytest.mark.parametrize(("change", "status", "expected"), BAD_LYE)
def test_lye_that_cannot_be(viewer, change, status, expected):
    with nothing_changes():
        response = viewer.post("compute/lye/", changed(LYE, **change))
        assert response.status_code == status, response.content
        assert expected in {(f["field"], f["code"]) for f in response.json()["errors"]}


def test_scaling_a_formula_given_whole(viewer):
    answer = viewer.done("compute/scale/", SCALE)
    weights = [grams(line["amount"]) for line in answer["lines"]]
    assert weights == [700, 300, 30]
    naoh = Decimal("209.8") * Decimal("39.9971") / Decimal("56.1056") * Decimal("0.95")
    assert abs(grams(answer["lye"]["naoh"]) - naoh) <= Decimal("0.5")
    assert answer["profile"]["iodine_value"] == "61.5"
    assert answer["profile"]["fatty_acids"] == {"C12:0": "0.3", "C16:0": "0.084", "C18:1": "0.616"}
    assert answer["profile"]["saturated_share"] == "0.384"
    assert answer["cautions"]
    total = sum(weights) + grams(answer["lye"]["naoh"]) + grams(answer["lye"]["extra_water"])
    assert grams(answer["batter"]) == total


@FIXTURES
@given(factor=st.integers(2, 40))
def test_scaling_is_linear_within_the_scales_step(viewer, factor):
    one = viewer.done("compute/scale/", changed(SCALE, resolution="1 mg"))
    many = viewer.done(
        "compute/scale/", changed(SCALE, resolution="1 mg", target__fats=f"{factor} kg")
    )
    # once rounded each, the small one times factor; lye follows the rounded fats
    step = Decimal("0.001") * (factor + 1)
    for small, large in zip(one["lines"], many["lines"], strict=True):
        assert abs(grams(large["amount"]) - factor * grams(small["amount"])) <= step
    assert abs(grams(many["lye"]["naoh"]) - factor * grams(one["lye"]["naoh"])) <= step


@pytest.mark.parametrize(
    "target",
    [
        {"mold": {"shape": "rectangular", "length": "10 in", "width": "3.5 in", "depth": "2.5 in"}},
        {"volume": {"amount": str(Decimal("87.5") * Decimal("16.387064")), "unit": "mL"}},
    ],
)
def test_a_mold_given_whole_is_filled(viewer, target):
    answer = viewer.done("compute/scale/", changed(SCALE, target=target))
    volume = Decimal("87.5") * Decimal("16.387064")
    assert abs(Decimal(answer["batter_volume"]["amount"]) - volume) <= 3  # a gram a line
    # Common practice, no source: ounces of fats = 0.40 x cubic inches of mold.
    ounces = grams(answer["fats"]) / Decimal("28.349523125")
    assert abs(ounces / Decimal("87.5") - Decimal("0.40")) < Decimal("0.04")


BAD_SCALE = [
    ({"lines__0__amount": "60 %"}, 422, ("lines", "fats-not-whole")),
    ({"lines__0__material__sv": "19"}, 422,
     ("lines.0.material.sv", "saponification-value-implausible")),
    ({"lines__0__material__sv": None}, 422,
     ("lines.0.material.sv", "saponification-value-missing")),
    ({"lines__0__material__kind": "oil"}, 400, ("lines.0.material.kind", "invalid_choice")),
    ({"lines__0__material__color": "x"}, 400, ("lines.0.material.color", "unknown-field")),
    ({"lines__0__material__fatty_acids": {"C12:0": "60 %", "C18:1": "60 %"}}, 400,
     ("lines.0.material.fatty_acids", "over-whole")),
    ({"lines__2__material__name": "Lye flakes"}, 422, ("lines.2", "alkali-as-line")),
    ({"lines__2__amount": "20 %"}, 422, ("lines.2", "fragrance-over-maximum")),
    ({"lines__2__material__ifra_category9_max": None}, 422,
     ("lines.2", "fragrance-without-certificate")),
    ({"superfat": "-0.01"}, 400, ("superfat", "too-small")),
    ({"masterbatch_strength": "0.3"}, 422, ("masterbatch_strength", "masterbatch-too-weak")),
    ({"target": {}}, 422, ("target", "no-target")),
    ({"target": {"fats": "1 kg", "volume": "1 L"}}, 422, ("target.volume", "several-targets")),
    ({"target": {"mold": {"shape": "slab"}}}, 422, ("target.mold.length", "size-missing")),
    ({"target": {"mold": "loaf"}}, 400, ("target.mold", "invalid")),
    ({"target": {"fats": "1 L"}}, 400, ("target.fats", "wrong-dimension")),
    ({"pour_temperature": "300 degC"}, 422, ("pour_temperature", "outside-table")),
    ({"pour_temperature": 40}, 400, ("pour_temperature", "not-text")),
    ({"resolution": "-1 g"}, 400, ("resolution", "negative")),
    ({"lines": []}, 422, ("lines", "fats-not-whole")),
]  # fmt: skip


@pytest.mark.parametrize(("change", "status", "expected"), BAD_SCALE)
def test_formulas_given_whole_that_cannot_be(viewer, change, status, expected):
    with nothing_changes():
        response = viewer.post("compute/scale/", changed(SCALE, **change))
        assert response.status_code == status, response.content
        assert expected in {(f["field"], f["code"]) for f in response.json()["errors"]}


@pytest.mark.parametrize(
    ("body", "density"),
    [
        # International Critical Tables III p. 79, as printed in chemical engineers' handbooks
        ({"naoh_share": "0.5", "temperature": "20 degC"}, "1.5253"),
        ({"naoh_share": "50 %", "temperature": "68 degF"}, "1.5253"),
        # IAPWS-95
        ({"temperature": "20 degC"}, "0.99821"),
    ],
)
def test_density_of_lye(viewer, body, density):
    assert viewer.done("compute/density/", body) == {"density_g_ml": density}


@pytest.mark.parametrize(
    ("body", "status", "expected"),
    [
        ({"naoh_share": "0.6", "temperature": "20 degC"}, 422, "naoh_share"),
        ({"koh_share": "0.3", "temperature": "2 degC"}, 422, "temperature"),
        ({"naoh_share": "0.6", "koh_share": "0.6", "temperature": "20 degC"}, 400, "koh_share"),
        ({"naoh_share": "0.3"}, 400, "temperature"),
        ({"naoh_share": "0.3", "temperature": "20 g"}, 400, "temperature"),
    ],
)
def test_nothing_is_extrapolated(viewer, body, status, expected):
    with nothing_changes():
        response = viewer.post("compute/density/", body)
        assert response.status_code == status
        assert {fault["field"] for fault in response.json()["errors"]} == {expected}


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("lye", LYE),
        ("scale", SCALE),
        ("mold-volume", {"shape": "measured", "measured_volume": "1 L"}),
        ("density", {"temperature": "20 degC"}),
    ],
)
def test_nothing_is_read_from_the_database(viewer, path, body):
    viewer.done(f"compute/{path}/", body)  # the account's role is read once
    with CaptureQueriesContext(connection) as captured:
        viewer.done(f"compute/{path}/", body)
    assert not captured.captured_queries


@pytest.mark.parametrize("path", ["lye", "scale", "mold-volume", "density"])
def test_whoever_is_not_signed_in_computes_nothing(path):
    assert APIClient().post(f"/api/v1/compute/{path}/", {}, format="json").status_code == 401
