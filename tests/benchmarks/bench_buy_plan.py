"""A buy plan of 60 materials and 6 suppliers proven cheapest, beside the bare call of the solver.

Run with: python -m pytest tests/benchmarks/bench_buy_plan.py -o python_files='bench_*.py' -s
The bare call gets the finished matrix; the plan also states the program, checks the answer in
whole numbers, and sums its cost up again. The runner-up is a second question of the same size and
is left out.
"""

import time
from datetime import date, timedelta
from fractions import Fraction
from random import Random

import pytest

from inventory.domain.buying.model import build_model
from inventory.domain.buying.plan import (
    BuyProblem,
    Need,
    OfferingSupplier,
    OpenOffer,
    Outcome,
    WantedMaterial,
)
from inventory.domain.buying.solve import solve
from inventory.domain.catalog.packs import PriceBreak

MATERIALS, SUPPLIERS = 60, 6
TODAY = date(2026, 3, 2)
KG = 10**12
PACKS = (KG, 5 * KG, 5 * 453_592_370_000, 35 * 453_592_370_000, 25 * KG)


def large_problem(seed):
    """Invented terms: minimum orders, freight with thresholds, breaks, dated needs, space."""
    draw = Random(seed)
    suppliers = tuple(
        OfferingSupplier(
            code=f"s{n}",
            name=f"Supplier {n}",
            minimum_order=draw.choice([0, 500_000, 1_500_000]),
            handling=draw.choice([50_000, 100_000]),
            freight=draw.choice([150_000, 250_000, 400_000]),
            free_freight_from=draw.choice([None, 2_000_000, 3_500_000]),
        )
        for n in range(SUPPLIERS)
    )
    materials, needs, offers = [], [], []
    for number in range(MATERIALS):
        code, cost = f"m{number}", draw.randint(30_000, 300_000)
        materials.append(
            WantedMaterial(
                code=code,
                name=f"Material {number}",
                keeps_days=365,
                use_per_day=Fraction(draw.randint(200, 600) * KG, 1_000),
                space=draw.choice([None, 90 * KG]),
                holding_per_day=Fraction(cost, 4 * 365 * KG),
            )
        )
        needs += [
            Need(
                material=code,
                amount=draw.randint(500, 15_000) * KG // 1_000,
                due=TODAY + timedelta(days=draw.choice([10, 14, 30, 60])),
            )
            for _ in range(draw.choice([1, 2]))
        ]
        offers += [
            offer
            for supplier in draw.sample(range(SUPPLIERS), draw.randint(3, SUPPLIERS))
            for offer in two_offers(draw, code, cost, supplier)
        ]
    return BuyProblem(
        order_dates=(TODAY,),
        horizon=TODAY + timedelta(days=90),
        materials=tuple(materials),
        needs=tuple(needs),
        suppliers=suppliers,
        offers=tuple(offers),
    )


def two_offers(draw, material, cost, supplier):
    for pack in draw.sample(PACKS, 2):
        small = Fraction(23, 20) if pack < 3 * KG else 1
        price = int(cost * pack * small * draw.randint(80, 125) / (100 * KG)) // 100 * 100
        breaks = (PriceBreak(3, price * 93 // 100), PriceBreak(8, price * 88 // 100))
        yield OpenOffer(
            code=f"{material}-{supplier}-{pack}",
            supplier=f"s{supplier}",
            material=material,
            pack=pack,
            written="a pack",
            price=price,
            lead_days=draw.choice([3, 5, 7, 10]),
            breaks=breaks if draw.random() < 0.5 else (),
        )


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_large_plan_beside_the_bare_solver(benchmark, capsys, seed):
    problem = large_problem(seed)
    program = build_model(problem).program
    start = time.perf_counter()
    bare = program.bare_solve(time_limit=300)
    bare_seconds = time.perf_counter() - start
    found = benchmark.pedantic(
        solve, args=[problem], kwargs={"time_limit": 300, "runner_up": False}, rounds=1
    )
    seconds = benchmark.stats.stats.min
    assert (found.outcome, found.gap, bare.status) == (Outcome.PROVEN, 0, 0)
    benchmark.extra_info.update(bare_seconds=bare_seconds, ratio=seconds / bare_seconds)
    with capsys.disabled():
        print(  # noqa: T201 - the ratio is what the benchmark is run for
            f"\nbuy plan, {MATERIALS} materials, {len(problem.offers)} offers of {SUPPLIERS} "
            f"suppliers, proven: {seconds:.2f} s, bare solver {bare_seconds:.2f} s, ratio "
            f"{seconds / bare_seconds:.2f}, {len(found.unmet)} needs unmet"
        )
