"""Labels look into blends: pigments, fragrance, allergens, lye, and herbs strained out."""

from decimal import Decimal as D

import pytest

from inventory.domain.catalog.allergens import Allergen
from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.domain.catalog.unusual import UNUSUAL
from inventory.models.stock.lots import Lot
from inventory.services.stock.certificates import certify_lot
from recipes.domain.formulas.formula import Basis, Stage
from recipes.domain.formulas.scaled import BatterTarget, FatTarget
from recipes.domain.labels.ingredient_list import Convention
from recipes.queries.bench.batches import batch_by_code
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import Wish, make_plan
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.formulas.formulas import LineSpec, VersionSpec, add_formula, add_version
from recipes.services.labels.labels import LabelWish, bar_label
from recipes.services.scaling.planning import plan_batch
from tests.inventory.making import KG, TODAY, make_lot, make_material
from tests.recipes.levels import blend_of, fill, make_levels
from tests.studio.web.api.people import person

ADDED, RESULTS = (LabelWish(convention=one) for one in Convention)
INCI = {
    "olive": "Olea Europaea Fruit Oil",
    "coconut": "Cocos Nucifera Oil",
    "naoh": "Sodium Hydroxide",
    "water": "Aqua",
    "clay": "CI 77004",
    "petals": "Calendula Officinalis Flower",
}


@pytest.fixture
def garden(database):
    """A soap of infused oil with a scented clay dispersion, its lye a masterbatch."""
    levels = make_levels()
    for code, name in INCI.items():
        levels.materials[code].inci_name = name
        levels.materials[code].save()
    levels.materials["scent"] = make_material(
        "scent", kind=Kind.FRAGRANCE.value, ifra_category9_max=D("0.05")
    )
    make_lot(levels.materials["scent"], KG)
    blend_of(levels, "scented", {"scent": "0.2", "dispersion": "0.8"})
    soap = add_formula(code="deep", name="Deep")
    lines = [
        LineSpec(material=levels.materials[code], basis=Basis.SHARE_OF_FATS, amount=D(share))
        for code, share in {"infused": "0.6", "coconut": "0.4"}.items()
    ]
    lines.append(
        LineSpec(
            material=levels.materials["scented"],
            basis=Basis.OF_FATS,
            amount=D("0.05"),
            stage=Stage.TRACE,
        )
    )
    add_version(
        soap,
        VersionSpec(
            lines=lines,
            masterbatch=levels.materials["lye"],
            water=levels.materials["water"],
            superfat=D("0.06"),
            lye_concentration=D("0.33"),
            cure_loss_share=D("0.1"),
        ),
    )
    fill(levels)
    return levels


def plan_of(code, target):
    plan = make_plan(load_formula(code=code), Wish(target=target))
    return plan_batch(plan, planned_on=TODAY).code


def poured():
    for code in ("lye", "infused", "dispersion", "scented"):
        batch = plan_of(f"make-{code}", BatterTarget(2 * KG))
        reserve_batch(batch)
        pour_batch(batch, Poured(on=TODAY))
    batch = plan_of("deep", FatTarget(KG))
    reserve_batch(batch)
    pour_batch(batch, Poured(on=TODAY))
    return batch


def test_what_is_inside_of_blends_is_named_in_both_conventions(garden):
    planned, made = plan_of("deep", FatTarget(KG)), poured()
    stated = [Allergen("Linalool", D("0.3"))]
    certify_lot(Lot.objects.get(material__code="scent").pk, {"allergens": stated})
    for code in (planned, made):
        added, results = bar_label(code, ADDED), bar_label(code, RESULTS)
        assert set(added.ingredients) >= {*INCI.values(), "Parfum"} - {INCI["petals"]}
        assert added.ingredients[-1] == results.ingredients[-1] == "CI 77004"
        assert {"Sodium Olivate", "Sodium Cocoate", "Parfum"} <= set(results.ingredients)
        for label in (added, results):
            assert label.infused_with == (INCI["petals"],)
            assert INCI["petals"] not in label.ingredients
            assert label.listed.in_ng == sum(
                row.material.mass_of(row.planned if row.actual is None else row.actual)
                for row in batch_by_code(code).lines.all()
            )
    assert [one.name for one in bar_label(made, ADDED).allergens.named] == ["Linalool"]
    # 50 g per kg of fats, a fifth of it scent
    scent = next(i for i in bar_label(made, ADDED).listed.items if i.name == "Parfum")
    assert abs(scent.mass_ng - 10 * KG // 1000) <= KG // 1000


def test_the_superfat_of_a_label_is_that_of_the_pour(garden):
    code = poured()
    batch = batch_by_code(code)
    found = bar_label(code, RESULTS).listed.superfat
    assert found == pytest.approx(batch.superfat_poured, abs=D("0.000002"))
    # A titration, and a value measured on the blend, go before what follows from their parts.
    for code_of, stated in (("lye", {"purity": D("0.45")}), ("infused", {"sv_mg_koh_g": D(195)})):
        made = Lot.objects.get(material__code=code_of)
        certify_lot(made.pk, stated, confirmed=UNUSUAL, by=person("owner"))
    again = bar_label(code, RESULTS).listed.superfat
    assert again > found + D("0.05")
