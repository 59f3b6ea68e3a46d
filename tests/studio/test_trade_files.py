"""The shipped values of the trade against the published ranges they come from."""

from decimal import Decimal

import pytest

from inventory.domain.catalog.descriptions import read_fatty_acids
from inventory.models.catalog.materials import Material
from recipes.domain.chemistry.lye import acid_factors
from studio.foundation.errors import Faults
from studio.management.demo.scenario import materials, published, read
from tests.inventory.buying import impossible

FATS = {fat["code"]: fat for fat in read("trade/fats")["fat"]}

#: Codex Alimentarius CXS 210-1999, Table 2: saponification value, mg KOH/g (read in a
#: reproduction); olive oil: CXS 33-1981 (from memory); tallow: CXS 211-1999 (from memory).
CODEX = {
    "coconut-oil": (248, 265),
    "palm-oil": (190, 209),
    "babassu-oil": (245, 256),
    "rice-bran-oil": (180, 199),
    "canola-oil": (182, 193),
    "soybean-oil": (189, 195),
    "corn-oil": (187, 195),
    "sesame-oil": (186, 195),
    "sunflower-oil": (187, 194),
    "high-oleic-sunflower-oil": (182, 194),
    "cottonseed-oil": (189, 198),
    "linseed-oil": (185, 197),
    "walnut-oil": (189, 198),
    "olive-oil": (184, 196),
    "tallow": (190, 202),
}


@pytest.mark.parametrize("code", CODEX)
def test_the_codex_range_holds_the_nominal_value(code):
    low, high = CODEX[code]
    fat = FATS[code]
    assert (Decimal(fat["sv_low"]), Decimal(fat["sv_high"])) == (low, high)
    assert low <= Decimal(fat["sv"]) <= high


@pytest.mark.parametrize("code", FATS)
def test_each_fat_can_be_kept_and_names_its_source(code):
    fat = FATS[code]
    values = materials([{"trade": code}])[0]
    acids = read_fatty_acids(values.pop("fatty_acids", {}), faults := Faults())
    described = Material(**values)
    assert not faults.found and bool(acids) == ("fatty_acids" in fat)
    assert not impossible(described)
    assert described.sv_low_mg_koh_g <= described.sv_mg_koh_g <= described.sv_high_mg_koh_g
    assert fat["source"] and fat["evidence"] in {"read", "memory", "mixed"}
    assert fat["source"] in described.note


@pytest.mark.parametrize("code", [code for code, fat in FATS.items() if "fatty_acids" in fat])
def test_fatty_acid_shares_add_up_to_one(code):
    assert sum(Decimal(share) for share in FATS[code]["fatty_acids"].values()) == 1


def test_waxes_and_unsafe_values_are_not_shipped_as_fats():
    # Half or more of a wax never becomes soap; published values of neem contradict each other.
    assert not {"jojoba-oil", "lanolin", "beeswax", "neem-oil", "hazelnut-oil"} & set(FATS)


def test_the_alkali_taken_by_citric_acid_follows_from_its_molar_mass():
    # Three moles NaOH per mole; molar masses of the shipped table (IUPAC atomic weights).
    shipped = Decimal(published()["citric-acid"]["acid_naoh_g_per_g"])
    assert abs(shipped - acid_factors()["citric_anhydrous"]) < Decimal("0.00006")
