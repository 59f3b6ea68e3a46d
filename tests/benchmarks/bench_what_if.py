"""What-if over 1,000 recipes of 30 lines, beside the same arithmetic in plain numpy.

    python -m pytest tests/benchmarks -o python_files='bench_what_if.py' -s

The plain arithmetic is in floating point over the same offers: whole packs at the price they
reach, the best offer with its freight, each order's freight spread by worth, labor and overhead,
the cost of a bar as things are, with each of four changes alone, and with all together. Ours is
exact to the last unit, names what has no price, and tells the effects apart. Both must say the same
to a ten-thousandth or two. The second figure is the whole call: reading, scaling and pricing.
"""

import random
from decimal import Decimal
from time import perf_counter

import numpy as np
import pytest
from costing.domain.what_if import Sized, table_of
from django.db import connection
from django.test.utils import CaptureQueriesContext

from costing.domain.conversion import Work
from costing.domain.rates import RateKind, Rates
from costing.domain.replacement import OfferTerms, SupplierTerms
from costing.domain.what_if_changes import MaterialPrice, Prices, RateChange, prices_after
from costing.domain.what_if_effects import Scenario, outcome
from costing.models import Product
from costing.queries.price_basis import PriceBasis
from costing.queries.what_if import Question, what_if
from costing.queries.what_if_named import Named
from inventory.domain.price_breaks import PriceBreak
from inventory.models import Material, Offer, Supplier
from recipes.models import Formula, FormulaLine, FormulaVersion
from tests.costing.making import make_rates
from tests.inventory.making import TODAY, make_material
from tests.recipes.making import make_bench

RECIPES, LINES, MATERIALS, SUPPLIERS, FATS = 1_000, 30, 200, 12, 24
KG, UNIT, ROUNDS = 10**12, 10_000, 9
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


class PlainNumpy:
    """The arithmetic as somebody would write it down in numpy, in floating point."""

    def __init__(self, sizes, offers, terms):
        self.material = np.array([list(each.needs) for each in sizes])
        self.need = np.array([list(each.needs.values()) for each in sizes], dtype=float)
        self.bars = np.array([each.bars for each in sizes], dtype=float)
        self.hours = np.array([each.work.other for each in sizes]) / 3600
        rows = [offers[material] for material in range(MATERIALS)]
        self.price = np.array([[o.price for o in row] for row in rows], dtype=float)
        self.lower = np.array([[o.breaks[0].price if o.breaks else 0 for o in r] for r in rows])
        self.steps = np.array([[5.0 if o.breaks else np.inf for o in row] for row in rows])
        self.pack = np.array([[o.pack_amount for o in row] for row in rows], dtype=float)
        self.supplier = np.array([[o.supplier.id for o in row] for row in rows])
        self.charge = np.array([each.freight for each in terms], dtype=float)
        self.free = np.array(
            [np.inf if t.free_freight_from is None else t.free_freight_from for t in terms]
        )
        self.row = np.arange(RECIPES)[:, None]

    def by_supplier(self, supplier, worth):
        """The goods of each recipe from each supplier, and their freight."""
        row = np.broadcast_to(self.row if worth.ndim == 2 else self.row[..., None], worth.shape)
        place = (row * SUPPLIERS + supplier).ravel()
        goods = np.bincount(place, worth.ravel(), minlength=RECIPES * SUPPLIERS)
        goods = goods.reshape(RECIPES, SUPPLIERS)
        return goods, np.where(goods >= self.free, 0, self.charge)

    def buy(self, moved):
        factor = np.ones(MATERIALS)
        for material, by in moved:
            factor[material] += by
        price = np.rint(self.price * factor[:, None])[self.material]
        lower = np.rint(self.lower * factor[:, None])[self.material]
        pack, supplier = self.pack[self.material], self.supplier[self.material]
        packs = np.ceil(self.need[..., None] / pack)
        goods = packs * np.where(packs >= self.steps[self.material], lower, price)
        worth, freight = self.by_supplier(supplier, goods)
        rate = freight / np.maximum(worth, 1)
        landed = goods / (packs * pack) * (1 + rate[self.row[..., None], supplier])
        best = np.argmin(landed, axis=2)[..., None]
        goods, packs, pack, supplier = (
            np.take_along_axis(each, best, axis=2)[..., 0]
            for each in (goods, packs, pack, supplier)
        )
        worth, freight = self.by_supplier(supplier, goods)
        part = goods * (freight / np.maximum(worth, 1))[self.row, supplier]
        return np.rint((goods + part) * self.need / (packs * pack)).sum(axis=1)

    def bars_cost(self, bought, labor, overhead):
        return np.rint((bought + np.rint(self.hours * labor) + overhead) / self.bars)

    def work(self):
        base, one, two = self.buy([]), self.buy([(3, 0.3)]), self.buy([(17, -0.1)])
        both = self.buy([(3, 0.3), (17, -0.1)])
        usual = (LABOR, 5 * UNIT)
        return [
            self.bars_cost(base, *usual),
            self.bars_cost(one, *usual),
            self.bars_cost(two, *usual),
            self.bars_cost(base, 27 * UNIT, 5 * UNIT),
            self.bars_cost(base, LABOR, 9 * UNIT),
            self.bars_cost(both, 27 * UNIT, 9 * UNIT),
        ]


def best_of(work):
    times = []
    for _ in range(ROUNDS):
        start = perf_counter()
        work()
        times.append(perf_counter() - start)
    return min(times)


@pytest.fixture
def plain_and_ours():
    rng = random.Random(20)
    (offers, terms), sizes = catalog(rng), recipes(rng)
    rates = Rates(labor_per_hour=LABOR, overhead_per_batch=5 * UNIT)
    prices = Prices(offers=offers, averages={}, rates=rates)
    table = table_of(sizes)

    def ours():
        scenes = [Scenario(table=table, prices=prices_after(prices, [each])) for each in CHANGES]
        return outcome(
            Scenario(table=table, prices=prices),
            scenes,
            Scenario(table=table, prices=prices_after(prices, CHANGES)),
            basis=PriceBasis.REPLACEMENT,
        )

    return PlainNumpy(sizes, offers, terms), ours


def test_the_arithmetic_beside_numpy(plain_and_ours, benchmark, capsys):
    plain, ours = plain_and_ours
    found, theirs = ours(), plain.work()
    sides = (found.base, *found.alone, found.together)
    for costs, expected in zip(sides, theirs, strict=True):
        assert costs.known.all()
        assert np.abs(costs.per_bar - expected).max() <= 2
    benchmark.pedantic(ours, rounds=ROUNDS, warmup_rounds=1)
    mine, floor = benchmark.stats.stats.min, best_of(plain.work)
    benchmark.extra_info.update(numpy_seconds=floor, ratio=mine / floor)
    with capsys.disabled():
        print(  # noqa: T201
            f"\nwhat-if, {RECIPES} recipes x {LINES} lines, {len(CHANGES)} changes one by one and "
            f"together: {mine * 1000:.0f} ms, numpy {floor * 1000:.0f} ms, "
            f"ratio {mine / floor:.2f}"
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


def test_the_whole_call(a_large_book, plain_and_ours, benchmark, capsys):
    changes = [
        Named(material="fat-3", by=THIRTY),
        Named(material="clay-17", by=TENTH),
        Named(rate=RateKind.LABOR_HOUR, price=27 * UNIT),
        Named(rate=RateKind.OVERHEAD_BATCH, price=9 * UNIT),
    ]

    def ask():
        return what_if(Question(changes=changes, on=TODAY))

    with CaptureQueriesContext(connection) as captured:
        found = ask()
    assert len(found.recipes) == RECIPES and found.outcome.base.known.all()
    benchmark.pedantic(ask, rounds=3)
    mine, floor = benchmark.stats.stats.min, best_of(plain_and_ours[0].work)
    with capsys.disabled():
        print(  # noqa: T201
            f"\nthe whole call, read, scaled and priced: {mine * 1000:.0f} ms in "
            f"{len(captured.captured_queries)} queries, {mine / floor:.0f} times the numpy "
            "arithmetic alone"
        )
