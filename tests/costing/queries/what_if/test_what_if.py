"""What would be is what then is: each answer beside the ordinary costs after a real change."""

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from costing.domain.rates.rates import RateKind
from costing.errors import WhatIfRefusal
from costing.models.bar_cost.conversion import LaborStandard
from costing.models.bar_cost.packaging import PackagingEdition, PackagingPiece, PackagingSet
from costing.models.prices.prices import Product
from costing.queries.bar_cost import kept_plans
from costing.queries.bar_cost.plans import costs_of_plan
from costing.queries.bar_cost.price_basis import PriceBasis
from costing.queries.bar_cost.product_costs import product_costs
from costing.queries.what_if.named import Named
from costing.queries.what_if.what_if import Question, what_if
from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import Offer, Supplier
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from recipes.domain.formulas.formula import Basis, Stage
from recipes.models.formulas.formulas import FormulaVersion
from recipes.models.molds.molds import Mold
from recipes.models.scales.scales import Scale
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import Wish, make_plan
from recipes.services.formulas.formulas import LineSpec, VersionSpec, add_formula
from tests.costing.making import UNIT, make_rate, make_rates
from tests.inventory.making import KG, TODAY, make_lot, make_material
from tests.recipes.making import make_bench, next_version, stock

THIRTY = Decimal("0.30")


@pytest.fixture
def bench(database):
    return a_bench()


def a_bench():
    """A soap with an infused oil that is made here, packed, its materials offered by two mills."""
    made = make_bench()
    make_rates(since=TODAY.replace(day=1))
    make_rate(RateKind.OVERHEAD_RACK_WEEK, 2 * UNIT)
    make_rate(RateKind.ENERGY_KWH, 3_000)
    LaborStandard.objects.create(
        effective_from=TODAY.replace(day=1),
        mix_minutes=40,
        cut_seconds_per_bar=20,
        wrap_seconds_per_bar=50,
        energy_wh=1_300,
    )
    stock(made)
    infuse(made)
    for place, (code, material) in enumerate(made.materials.items()):
        if code != "infused":
            offer_twice(material, 40 * UNIT + 7_777 * place)
    made.product = Product.objects.create(
        code="bar", name="Bar", formula=made.formula, mold=made.mold, packaging_set=wrapped()
    )
    return made


def offer_twice(material, price):
    pack = 100 if material.counted else 5 * KG
    for code, freight, free, factor in (("mill", 95_000, None, 1), ("hall", 40_000, 10**7, 2)):
        supplier, _ = Supplier.objects.get_or_create(
            code=code, defaults={"name": code, "freight": freight, "free_freight_from": free}
        )
        Offer.objects.create(
            code=f"{code}-{material.code}",
            supplier=supplier,
            material=material,
            pack_written="made up",
            pack_amount=pack * factor,
            price=price * factor * 99 // 100,
            price_breaks=[[3, price * factor * 9 // 10]],
        )


def infuse(made):
    """An infused olive oil with its recipe, in place of the coconut oil."""
    petals = make_material("petals", kind="additive")
    infused = make_material(
        "infused", kind="intermediate", sv_mg_koh_g=Decimal(190), density_g_ml=Decimal("0.915")
    )
    blend = add_formula(code="infusion", name="Infusion", kind="blend", product=infused)
    parts = ((made.materials["olive"], "0.9"), (petals, "0.1"))
    lines = [
        LineSpec(material=m, basis=Basis.OF_BATTER, amount=Decimal(share)) for m, share in parts
    ]
    next_version(blend, VersionSpec(lines=lines, minutes=35, pot_loss_share=Decimal("0.1")))
    spec_of(made, infused=infused)
    made.materials |= {"petals": petals, "infused": infused}


def spec_of(made, *, infused, **values):
    shares = ((made.materials["olive"], "0.7"), (infused, "0.3"))
    lines = [
        LineSpec(material=m, basis=Basis.SHARE_OF_FATS, amount=Decimal(share))
        for m, share in shares
    ]
    box = LineSpec(
        material=made.materials["box"], basis=Basis.PER_BAR, amount=Decimal(1), stage=Stage.PACK
    )
    spec = {
        "lines": [*lines, box],
        "naoh": made.materials["naoh"],
        "water": made.materials["water"],
        "superfat": Decimal("0.06"),
        "lye_concentration": Decimal("0.33"),
        "cure_days": 28,
        "minutes": 90,
    }
    return next_version(made.formula, VersionSpec(**(spec | values)))


def wrapped():
    made = PackagingSet.objects.create(code="wrap", name="Wrapped")
    edition = PackagingEdition.objects.create(
        packaging_set=made, effective_from=TODAY.replace(day=1), bars_per_carton=24
    )
    for code, per in (("wrapper", "bar"), ("carton", "carton")):
        material = make_material(code, kind="packaging", counted=True)
        offer_twice(material, 15 * UNIT)
        PackagingPiece.objects.create(edition=edition, material=material, per=per, pieces=1)
    return made


def ask(*changes, **values):
    return what_if(Question(changes=changes, on=TODAY, **values))


def effect_of(*changes, **values):
    (effect,) = ask(*changes, **values).outcome.effects
    return effect


def replacement(bench):
    return product_costs([bench.product.pk], on=TODAY)[bench.product.pk].replacement


def hall_box_at(price):
    """Another price of a pack, and its price break moved in proportion."""
    offer = Offer.objects.get(code="hall-box")
    breaks = [[n, round(Fraction(p * price, offer.price))] for n, p in offer.price_breaks]
    Offer.objects.filter(pk=offer.pk).update(price=price, price_breaks=breaks)


def olive_dearer():
    for offer in Offer.objects.filter(material__code="olive"):
        offer.price = round(offer.price * Fraction(13, 10))
        offer.price_breaks = [[n, round(p * Fraction(13, 10))] for n, p in offer.price_breaks]
        offer.save()


REAL = {
    "a dearer oil, also in the infusion": (Named(material="olive", by=THIRTY), olive_dearer),
    "another price of a pack": (
        Named(offer="hall-box", price=95 * UNIT),
        lambda: hall_box_at(95 * UNIT),
    ),
    "a dearer wrapper of the packaging set": (
        Named(offer="hall-wrapper", withdrawn=True),
        lambda: Offer.objects.filter(code="hall-wrapper").update(active=False),
    ),
    "an offer withdrawn": (
        Named(offer="hall-olive", withdrawn=True),
        lambda: Offer.objects.filter(code="hall-olive").update(active=False),
    ),
    "dearer labor, also of the infusion": (
        Named(rate=RateKind.LABOR_HOUR, price=33 * UNIT),
        lambda: make_rate(RateKind.LABOR_HOUR, 33 * UNIT, since=TODAY),
    ),
    "mixing at a rate of its own": (
        Named(rate=RateKind.LABOR_MIX_HOUR, price=19 * UNIT),
        lambda: make_rate(RateKind.LABOR_MIX_HOUR, 19 * UNIT, since=TODAY),
    ),
    "dearer racks": (
        Named(rate=RateKind.OVERHEAD_RACK_WEEK, by=THIRTY),
        lambda: make_rate(RateKind.OVERHEAD_RACK_WEEK, 26_000, since=TODAY),
    ),
}


@pytest.mark.parametrize("name", REAL)
def test_what_a_change_would_do_is_what_it_does(bench, name):
    change, really = REAL[name]
    effect = effect_of(change)
    assert effect.base == replacement(bench)
    really()
    assert effect.changed == replacement(bench)
    assert effect.changed != effect.base
    assert effect.alone == (effect.difference,) and effect.interaction == 0


def test_another_superfat_and_lye_concentration_scale_the_recipe_anew(bench):
    settings = {"superfat": Decimal("0.03"), "lye_concentration": Decimal("0.28")}
    effect = effect_of(Named(**settings))
    assert effect.base == replacement(bench)
    spec_of(bench, infused=bench.materials["infused"], **settings)
    assert effect.changed == replacement(bench) != effect.base


def test_all_together_is_what_all_of_them_then_do(bench):
    changes = [
        Named(material="olive", by=THIRTY),
        Named(rate=RateKind.LABOR_HOUR, price=33 * UNIT),
        Named(superfat=Decimal("0.01")),
    ]
    effect = effect_of(*changes)
    assert effect.alone == tuple(effect_of(change).difference for change in changes)
    olive_dearer()
    make_rate(RateKind.LABOR_HOUR, 33 * UNIT, since=TODAY)
    spec_of(bench, infused=bench.materials["infused"], superfat=Decimal("0.01"))
    assert effect.changed == replacement(bench)
    assert effect.base + sum(effect.alone) + effect.interaction == effect.changed


def test_on_the_moving_average_it_is_the_ordinary_cost_of_the_plan(bench):
    make_lot(bench.materials["infused"], 3 * KG, 91_234)
    Product.objects.update(packaging_set=None, needs_no_packing=True)
    plan = make_plan(load_formula(code="plain"), Wish(mold=bench.mold))
    effect = effect_of(Named(material="olive", by=THIRTY), basis=PriceBasis.MOVING_AVERAGE)
    (before,) = costs_of_plan(plan, bases=(PriceBasis.MOVING_AVERAGE,), on=TODAY)
    assert before.complete and effect.base == before.bar.per_bar
    lot = Lot.objects.get(material__code="olive")
    assert effect.changed == round(
        before.bar.exact
        + Fraction(
            round(Fraction(lot.cost * 13, 10 * lot.on_hand) * plan.needs[lot.material_id])
            - round(Fraction(lot.cost, lot.on_hand) * plan.needs[lot.material_id]),
            plan.bars,
        )
    )


def test_line_by_line_it_is_what_is_bought_for_the_plan(bench):
    plan = make_plan(load_formula(code="plain"), Wish(mold=bench.mold))
    (ordinary,) = costs_of_plan(plan, bases=(PriceBasis.REPLACEMENT,), on=TODAY)
    base = ask(Named(material="olive", by=THIRTY)).outcome.base
    assert not base[0].unknown and base[0].known_total == ordinary.cost.total


def test_good_bars_bear_the_others_and_packing_is_for_the_good_ones(bench):
    """8 bars cut, 6 good: as 8 bars of material over 6, each good bar with its own box."""
    answer = ask(Named(good_bars=Decimal("0.75")))
    (effect,) = answer.outcome.effects
    base, recipe = answer.outcome.base[0], answer.base.recipes[0]
    (box,) = recipe.packed
    assert answer.materials[box].code == "box"
    packed = base.bought.costs[box]
    packing = product_costs([bench.product.pk], on=TODAY)[bench.product.pk].packing
    assert not base.unknown
    soap = base.known_total - packed
    expected = Fraction(soap, 6) + Fraction(packed, 8) + packing
    assert abs(effect.changed - expected) <= 1
    assert effect_of(Named(good_bars=Decimal(1))).difference == 0


def test_molds_that_are_stated_are_asked_for_every_recipe(bench):
    bench.product.delete()
    answer = ask(Named(material="olive", by=THIRTY), molds=["loaf"])
    assert [(r.recipe.formula.code, r.recipe.mold.code) for r in answer.recipes] == [
        ("plain", "loaf")
    ]
    with pytest.raises(WhatIfRefusal, match="which molds"):
        ask(Named(material="olive", by=THIRTY))


def test_a_price_that_nobody_knows_is_not_guessed_and_can_be_given(bench):
    Offer.objects.filter(material__code="petals").update(active=False)
    answer = ask(Named(material="petals", price=30 * UNIT, per=KG))
    (effect,) = answer.outcome.effects
    assert effect.base is None and effect.difference is None and effect.changed > 0
    with pytest.raises(WhatIfRefusal, match="give a price"):
        ask(Named(material="petals", by=THIRTY))


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (Named(material="gold", by=THIRTY), "There is no material gold"),
        (Named(material="infused", by=THIRTY), "is made here"),
        (Named(material="box", price=1, per=KG), "is counted"),
        (Named(material="olive", price=1, per=5, per_count=True), "is weighed"),
        (Named(offer="mill-gold", by=THIRTY), "No offer mill-gold"),
        (Named(rate=RateKind.LABOR_CUT_HOUR, by=THIRTY), "give its amount"),
        (Named(superfat=Decimal("0.02"), formulas=["gone"]), "not among the recipes"),
    ],
)
def test_what_is_not_there_is_named(bench, change, told):
    with pytest.raises(WhatIfRefusal, match=told):
        ask(change)


@pytest.mark.parametrize(
    "twice",
    [
        (Named(material="olive", by=THIRTY), Named(material="olive", price=1, per=1)),
        (Named(superfat=Decimal("0.01")), Named(superfat=Decimal("0.02"), formulas=["plain"])),
        (Named(good_bars=Decimal("0.9"), formulas=["plain"]), Named(good_bars=Decimal("0.8"))),
    ],
)
def test_the_same_thing_is_not_changed_twice(bench, twice):
    with pytest.raises(WhatIfRefusal, match="Change 1 changes the same thing"):
        ask(*twice)


def test_lye_that_cannot_be_is_said_by_recipe(bench):
    FormulaVersion.objects.filter(formula=bench.formula).update(lye_concentration=Decimal("0.33"))
    answer = ask(Named(superfat=Decimal("0.90")))
    assert "30" in answer.refused[0]
    assert answer.outcome.effects[0].changed is None


def test_it_stores_nothing_and_asks_no_more_for_more_recipes(bench):
    changes = [Named(material="olive", by=THIRTY), Named(superfat=Decimal("0.01"))]
    counts = (Offer.objects.count(), FormulaVersion.objects.count(), StockEntry.objects.count())
    with CaptureQueriesContext(connection) as few:
        ask(*changes)
    for number in range(12):
        formula = add_formula(code=f"more-{number}", name=f"More {number}")
        spec_of(replace(bench, formula=formula), infused=bench.materials["infused"])
        Product.objects.create(
            code=f"more-{number}",
            name="More",
            formula=formula,
            mold=bench.mold,
            needs_no_packing=True,
        )
    with CaptureQueriesContext(connection) as many:
        assert len(ask(*changes).recipes) == 13
    assert len(many.captured_queries) == len(few.captured_queries) <= 21
    assert (Offer.objects.count(), StockEntry.objects.count()) == (counts[0], counts[2])


OLIVE_AND_LYE = (Named(material="olive", by=THIRTY), Named(superfat=Decimal("0.02")))


def lines_read():
    """How often a question reads the lines of recipes; those of the infusion always, for what is
    made of what and for what it consists of."""
    with CaptureQueriesContext(connection) as captured:
        ask(*OLIVE_AND_LYE)
    return sum('FROM "recipes_formulaline"' in query["sql"] for query in captured)


def test_only_plans_of_frozen_versions_are_kept_and_only_so_many(bench, monkeypatch):
    assert (lines_read(), lines_read()) == (3, 3)
    FormulaVersion.objects.update(frozen_at=timezone.now())
    assert (lines_read(), lines_read()) == (3, 2)
    monkeypatch.setattr(kept_plans, "MOST_KEPT", 0)
    FormulaVersion.objects.update(frozen_at=timezone.now())
    assert (lines_read(), lines_read()) == (3, 3)


RESTS_ON = {
    "what goes into a blend": lambda: change(Material, "petals", sv_mg_koh_g=Decimal(100)),
    "a fat's saponification value": lambda: change(Material, "olive", sv_mg_koh_g=Decimal(170)),
    "the purity of the lye": lambda: change(Material, "naoh", purity=Decimal("0.7")),
    "how much of a fat fills the mold": lambda: change(
        Material, "olive", density_g_ml=Decimal("0.7")
    ),
    "the mold": lambda: change(Mold, "loaf", overfill_share=Decimal("0.2")),
    "the scales": lambda: Scale.objects.create(
        code="coarse", name="Coarse", step=KG // 50, capacity=60 * KG
    ),
}


def change(model, code, **values):
    """By the shortest way there is, which tells nobody."""
    assert model.objects.filter(code=code).update(**values) == 1


@pytest.mark.parametrize("name", RESTS_ON)
def test_a_kept_plan_is_made_anew_once_what_it_rests_on_is_another(bench, name):
    FormulaVersion.objects.update(frozen_at=timezone.now())
    before = ask(*OLIVE_AND_LYE).outcome.effects[0]
    RESTS_ON[name]()
    after = ask(*OLIVE_AND_LYE).outcome.effects[0]
    assert after.base == replacement(bench) != before.base
    spec_of(bench, infused=bench.materials["infused"], superfat=Decimal("0.02"))
    assert after.base + after.alone[1] == replacement(bench) != before.base + before.alone[1]
