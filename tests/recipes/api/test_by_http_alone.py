"""From an empty recipe book to released bars, by requests alone."""

from decimal import Decimal

from inventory.services.stock.proof import prove_books
from tests.recipes.api.calls import LOAF, VERSION, Caller, fill_shelf, row_counts


def amount(given, unit="g"):
    assert given["unit"] == unit
    return Decimal(given["amount"])


HERE_ON = "2026-03-02"


def write_the_recipe(maker):
    mold = maker.made("molds/", LOAF)
    assert amount(mold["full_volume"], "mL") == 24 * 7 * 6
    assert (mold["length"], mold["bars"]) == ({"amount": "240", "unit": "mm"}, 8)
    formula = maker.made("formulas/", {"code": "calm", "name": "Calm"})
    assert (formula["product"], formula["batter"]) == ("calm-bar", "calm-batter")
    version = maker.made("formulas/calm/versions/", VERSION)
    assert (version["number"], version["frozen_at"]) == (1, None)
    assert version["lines"][0] == {
        "material": "olive",
        "basis": "share-of-fats",
        "amount": "0.7",
        "stage": "fats",
        "counts_as_water": False,
        "strained": False,
        "portion": "",
    }


def scale_it(maker):
    before = row_counts()
    scaled = maker.done("formulas/calm/scale/", {"target": {"mold": "loaf"}})
    assert row_counts() == before
    assert (scaled["bars"], scaled["covered"]) == (8, True)
    assert {line["code"] for line in scaled["cautions"]} >= {"lye-burns", "lye-into-water"}
    assert scaled["profile"]["fatty_acids"] == {"C12:0": "0.4", "C18:1": "0.6"}
    assert scaled["profile"]["iodine_value"] == "10"
    assert Decimal(scaled["lye"]["superfat"]) >= Decimal("0.06")
    assert Decimal(scaled["safety"]["fragrances"][0]["share"]) < Decimal("0.05")


def plan_it(maker):
    batch = maker.made(
        "batches/", {"formula": "calm", "planned_on": HERE_ON, "target": {"mold": "loaf"}}
    )
    assert (batch["state"], batch["version"], batch["mold"]) == ("planned", 1, "loaf")
    assert batch["target"]["kind"] == "volume"
    assert [line["material"] for line in batch["lines"]][:2] == ["olive", "coconut"]
    assert maker.get("formulas/calm/versions/1/").json()["frozen_at"]
    return batch


def reserve_it(maker, batch, here):
    shelf = maker.get(here + "shelf/").json()
    assert shelf["covered"] and all(line["picks"] for line in shelf["lines"])
    held = maker.done(here + "reserve/")
    assert held["batch"]["state"] == "reserved"
    assert {lot["material"] for lot in held["lots"]} == {
        line["material"] for line in batch["lines"]
    }
    sheet = maker.get(here + "sheet/").json()
    assert [stage["stage"] for stage in sheet["stages"]] == ["fats", "lye", "trace", "pack"]
    olive = sheet["stages"][0]["lines"][0]
    assert olive["lots"][0]["amount"] == olive["amount"] == batch["lines"][0]["planned"]
    assert sheet["cautions"] and sheet["pour_temperature"] == {"amount": "40", "unit": "degC"}
    assert any("never pour" in step for step in sheet["lye"]["steps"])


def make_it(maker, batch, here):
    kilograms = amount(batch["lines"][0]["planned"]) / 1000
    weighed = {
        "on": HERE_ON,
        "actual": [{"position": 0, "amount": f"{kilograms} kg"}],
        "poured": "1 kg",
        "minutes": 40,
    }
    poured = maker.done(here + "pour/", weighed)
    assert poured["batch"]["state"] == "poured" and poured["cautions"]
    assert poured["batch"]["poured_lot"]["code"] == f"{batch['code']}-poured"
    cut = maker.done(here + "cut/", {"on": "2026-03-03", "bars_good": 7, "bars_rejected": 1})
    lot = {"code": batch["code"], "state": "quarantine", "state_reason": "curing"}
    assert cut["bar_lot"] == lot


def test_from_the_mold_to_released_bars(database):
    fill_shelf()
    maker = Caller("maker")
    write_the_recipe(maker)
    scale_it(maker)
    batch = plan_it(maker)
    here = f"batches/{batch['code']}/"
    reserve_it(maker, batch, here)
    make_it(maker, batch, here)
    cured = maker.done(here + "cure/", {"on": "2026-03-30", "minutes": 20})
    assert (cured["state"], cured["minutes"]) == ("cured", 60)
    assert cured["bar_lot"]["state"] == "released"
    assert maker.get(here).json() == cured
    assert prove_books().differences == ()
