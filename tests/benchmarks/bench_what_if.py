"""What-if over recipes of 30 lines, beside the same arithmetic written down plainly.

    python -m pytest tests/benchmarks -o python_files='bench_what_if.py' -s

The plain arithmetic is in floating point, over the same offers and nothing else: whole packs at the
price they reach, the best offer with its freight, each order's freight spread by worth, labor and
overhead, the cost of a bar as things are, with each of four changes alone, and with all together.
Ours is exact to the last unit, names what has no price, and tells the effects apart. Both must say
the same to a ten-thousandth or two. Further figures are whole calls, price list and all: first with
all rows to be read and scaled, then with the plans of frozen versions kept, and 1,000 recipes in
the parts of a job. All are processor time, and told as ratios to the plain arithmetic of as many
recipes in the same run.
"""

import random
from decimal import Decimal
from time import process_time

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from costing.domain.bar_cost.conversion import Work
from costing.domain.bar_cost.recipe_cost import Prices, Sized, replaced_at_offers
from costing.domain.bar_cost.replacement import OfferTerms, SupplierTerms
from costing.domain.rates.rates import RateKind, Rates
from costing.domain.what_if.changes import MaterialPrice, RateChange, prices_after
from costing.domain.what_if.effects import Scenario, outcome
from costing.models.prices.prices import Product
from costing.queries.what_if.answer import changed_prices, merged, plain_answer
from costing.queries.what_if.named import Named
from costing.queries.what_if.what_if import Question, what_if
from costing.services.what_if.job import IN_A_PART, recipes_asked
from inventory.domain.catalog.packs import PriceBreak
from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import Offer, Supplier
from recipes.models.formulas.formulas import Formula, FormulaLine, FormulaVersion
from tests.costing.making import make_rates
from tests.inventory.making import TODAY, make_material
from tests.recipes.making import make_bench

RECIPES, AT_ONCE, LINES = 1_000, 200, 30
MATERIALS, SUPPLIERS, FATS = 200, 12, 24
KG, UNIT, ROUNDS = 10**12, 10_000, 3
LABOR = 24 * UNIT
THIRTY, TENTH = Decimal("0.30"), Decimal("-0.10")
CHANGES = (
    MaterialPrice(material=3, by=THIRTY),
    MaterialPrice(material=17, by=TENTH),
    RateChange(kind=RateKind.LABOR_HOUR, amount=27 * UNIT),
    RateChange(kind=RateKind.OVERHEAD_BATCH, amount=9 * UNIT),
)


def catalog(rng):
    """Two offers of each material, of two suppliers, some cheaper from five packs on."""
    terms = [
        SupplierTerms(
            id=pk, freight=95_000 + 1_000 * pk, free_freight_from=(200 * UNIT if pk % 2 else None)
        )
        for pk in range(SUPPLIERS)
    ]
    offers = {}
    for material in range(MATERIALS):
        prices = [rng.randrange(10 * UNIT, 90 * UNIT) for _ in range(2)]
        offers[material] = tuple(
            OfferTerms(
                id=2 * material + place,
                code=f"{material}-{place}",
                supplier=supplier,
                pack_amount=rng.randrange(KG, 20 * KG),
                price=price,
                breaks=(PriceBreak(5, price * 9 // 10),) if place else (),
            )
            for place, (supplier, price) in enumerate(
                zip(rng.sample(terms, 2), prices, strict=True)
            )
        )
    return offers, terms


def recipes(rng):
    return [
        Sized(
            needs={pk: rng.randrange(10**9, 6 * KG) for pk in rng.sample(range(MATERIALS), LINES)},
            bars=rng.randrange(9, 60),
            work=Work(other=60 * rng.randrange(30, 200)),
        )
        for _ in range(RECIPES)
    ]


class Plain:
    """The arithmetic as somebody would write it down, in floating point."""

    def __init__(self, sizes, offers):
        self.sizes, self.offers = sizes, offers

    def buy(self, needs, moved):
        orders, worth = {}, dict.fromkeys(range(SUPPLIERS), 0.0)
        for pk, need in needs.items():
            factor, some = 1 + moved.get(pk, 0.0), []
            for offer in self.offers[pk]:
                packs = -(-need // offer.pack_amount)
                price = offer.breaks[0].price if offer.breaks and packs >= 5 else offer.price
                some.append((packs * round(price * factor), packs * offer.pack_amount, offer))
                worth[offer.supplier.id] += some[-1][0]
            orders[pk] = some
        rate = {}
        for some in orders.values():
            for _, _, offer in some:
                whole = worth[offer.supplier.id]
                rate[offer.supplier.id] = offer.supplier.freight_of(whole) / whole if whole else 0
        best = {
            pk: min(some, key=lambda o: o[0] / o[1] * (1 + rate[o[2].supplier.id]))
            for pk, some in orders.items()
        }
        goods = dict.fromkeys(range(SUPPLIERS), 0.0)
        for cost, _, offer in best.values():
            goods[offer.supplier.id] += cost
        total = 0
        for pk, (cost, amount, offer) in best.items():
            whole = goods[offer.supplier.id]
            freight = cost * offer.supplier.freight_of(whole) / whole if whole else 0
            total += round((cost + freight) * needs[pk] / amount)
        return total

    def bars(self, size):
        base, one, two, both = (
            self.buy(size.needs, moved) for moved in ({}, {3: 0.3}, {17: -0.1}, {3: 0.3, 17: -0.1})
        )
        hours, usual = size.work.other / 3600, (LABOR, 5 * UNIT)
        return [
            round((bought + round(hours * labor) + overhead) / size.bars)
            for bought, (labor, overhead) in (
                (base, usual),
                (one, usual),
                (two, usual),
                (base, (27 * UNIT, 5 * UNIT)),
                (base, (LABOR, 9 * UNIT)),
                (both, (27 * UNIT, 9 * UNIT)),
            )
        ]

    def work(self):
        return [self.bars(size) for size in self.sizes]


def seconds(work):
    """Processor seconds of the quickest of some rounds."""
    times = []
    for _ in range(ROUNDS):
        start = process_time()
        work()
        times.append(process_time() - start)
    return min(times)


@pytest.fixture
def plain_and_ours():
    rng = random.Random(20)
    (offers, _), sizes = catalog(rng), recipes(rng)
    rates = Rates(labor_per_hour=LABOR, overhead_per_batch=5 * UNIT)
    prices = Prices(offers=offers, averages={}, rates=rates)

    def scene(*changes):
        return Scenario(recipes=sizes, prices=prices_after(prices, changes))

    def ours():
        alone = [scene(each) for each in CHANGES]
        return outcome(scene(), alone, scene(*CHANGES), buy=replaced_at_offers)

    return Plain(sizes, offers), ours


def test_the_arithmetic_beside_itself_written_plainly(plain_and_ours, capsys):
    plain, ours = plain_and_ours
    for effect, (base, *alone, together) in zip(ours().effects, plain.work(), strict=True):
        assert abs(effect.base - base) <= 2 and abs(effect.changed - together) <= 2
        for moved, expected in zip(effect.alone, alone, strict=True):
            assert abs(effect.base + moved - expected) <= 2
    mine, floor = seconds(ours), seconds(plain.work)
    with capsys.disabled():
        print(  # noqa: T201
            f"\nwhat-if, {RECIPES} recipes x {LINES} lines, {len(CHANGES)} changes one by one and "
            f"together: {mine:.2f} s, plainly {floor:.2f} s, ratio {mine / floor:.2f}"
        )


@pytest.fixture
def a_large_book(db):
    """1,000 recipes of 30 lines, each a product in one mold; all materials are offered."""
    rng = random.Random(21)
    made = make_bench()
    make_rates(since=TODAY)
    made.formula.active = False
    made.formula.save()
    supplier = Supplier.objects.create(code="mill", name="The Mill", freight=95_000)
    fats = [
        make_material(f"fat-{n}", sv_mg_koh_g=Decimal(190), density_g_ml=Decimal("0.9"))
        for n in range(MATERIALS // 2)
    ]
    others = [make_material(f"clay-{n}", kind="additive") for n in range(MATERIALS // 2)]
    Offer.objects.bulk_create(
        Offer(
            code=f"mill-{material.code}",
            supplier=supplier,
            material=material,
            pack_written="made up",
            pack_amount=100 if material.counted else 5 * KG,
            price=rng.randrange(10 * UNIT, 90 * UNIT),
        )
        for material in Material.objects.all()
    )
    bars, batter = made.formula.product, made.formula.batter
    formulas = Formula.objects.bulk_create(
        Formula(code=f"r-{n}", name=f"R {n}", kind="soap", product=bars, batter=batter)
        for n in range(RECIPES)
    )
    versions = FormulaVersion.objects.bulk_create(
        FormulaVersion(
            formula=formula,
            number=1,
            naoh=made.materials["naoh"],
            water=made.materials["water"],
            superfat=Decimal("0.06"),
            lye_concentration=Decimal("0.33"),
            minutes=90,
        )
        for formula in formulas
    )
    FormulaLine.objects.bulk_create(
        line for version in versions for line in lines_of(version, rng, fats, others)
    )
    Product.objects.bulk_create(
        Product(code=f.code, name=f.name, formula=f, mold=made.mold) for f in formulas
    )


def lines_of(version, rng, fats, others):
    share = Decimal("0.04")
    rows = [(fat, "share-of-fats", share, "fats") for fat in rng.sample(fats, FATS)]
    rows[0] = (rows[0][0], "share-of-fats", 1 - share * (FATS - 1), "fats")
    rows += [
        (other, "of-fats", Decimal("0.01"), "trace") for other in rng.sample(others, LINES - FATS)
    ]
    return [
        FormulaLine(
            version=version, position=n, material=material, basis=basis, amount=amount, stage=stage
        )
        for n, (material, basis, amount, stage) in enumerate(rows)
    ]


def test_the_whole_call(a_large_book, plain_and_ours, capsys):
    changes = [
        Named(material="fat-3", by=THIRTY),
        Named(material="clay-17", by=TENTH),
        Named(rate=RateKind.LABOR_HOUR, price=27 * UNIT),
        Named(rate=RateKind.OVERHEAD_BATCH, price=9 * UNIT),
    ]
    asked = recipes_asked()

    def ask(codes):
        found = what_if(Question(changes=changes, on=TODAY, formulas=codes))
        assert len(found.recipes) == len(codes)
        return plain_answer(found, changed_prices(found))

    def in_parts():
        starts = range(0, RECIPES, IN_A_PART)
        assert merged([ask(asked[at : at + IN_A_PART]) for at in starts])["asked"] == RECIPES

    with CaptureQueriesContext(connection) as captured:
        ask(asked[:AT_ONCE])
    floor = seconds(plain_and_ours[0].work)
    told = {"the whole call": (seconds(lambda: ask(asked[:AT_ONCE])), AT_ONCE)}
    told["a job, all its parts"] = (seconds(in_parts), RECIPES)
    FormulaVersion.objects.update(frozen_at=timezone.now())
    ask(asked[:AT_ONCE])
    told["with plans kept"] = (seconds(lambda: ask(asked[:AT_ONCE])), AT_ONCE)
    with capsys.disabled():
        print(f"\n{len(captured.captured_queries)} queries")  # noqa: T201
        for name, (mine, many) in told.items():
            ratio = mine / (floor * many / RECIPES)
            print(f"{name}, {many} recipes: {mine:.2f} s, {ratio:.1f} times plain")  # noqa: T201
