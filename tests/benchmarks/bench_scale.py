"""Scaling a recipe of 12 lines with its lye, beside the same arithmetic in plain pint.

    python -m pytest tests/benchmarks/bench_scale.py -s

Both must weigh the same to the step of the scale. Ours also checks the formula, its densities and
its safety, which the plain arithmetic does not.
"""

from decimal import ROUND_HALF_EVEN, Decimal
from time import perf_counter

import pint

from inventory.domain.catalog.materials import MaterialKind
from recipes.domain.chemistry.safety import recheck
from recipes.domain.formulas.formula import Alkali, Basis, Formula, Ingredient, Line, Stage
from recipes.domain.formulas.scaled import FatTarget
from recipes.domain.scaling.scaling import scale

ROUNDS = 200
FATS = (
    ("0.30", "190"),
    ("0.20", "256"),
    ("0.15", "198"),
    ("0.10", "180"),
    ("0.10", "193"),
    ("0.05", "128"),
    ("0.05", "188"),
    ("0.05", "176"),
)
ADDITIVES = ("0.03", "0.02", "0.01", "0.005")
SUPERFAT, CONCENTRATION, PURITY = Decimal("0.05"), Decimal("0.33"), Decimal("0.98")
KILOGRAMS = 7


def recipe():
    fats = [
        Line(
            Ingredient(f"fat-{n}", f"Fat {n}", MaterialKind.FAT, sv_mg_koh_g=Decimal(value)),
            Basis.SHARE_OF_FATS,
            Stage.FATS,
            Decimal(share),
        )
        for n, (share, value) in enumerate(FATS)
    ]
    rest = [
        Line(
            Ingredient(f"add-{n}", f"Additive {n}", MaterialKind.ADDITIVE),
            Basis.OF_FATS,
            Stage.TRACE,
            Decimal(share),
        )
        for n, share in enumerate(ADDITIVES)
    ]
    return Formula(
        lines=(*fats, *rest),
        alkali=Alkali(superfat=SUPERFAT, lye_concentration=CONCENTRATION, naoh_purity=PURITY),
    )


def ours(formula):
    batch = scale(formula, FatTarget(KILOGRAMS * 10**12))
    recheck(batch)
    return [line.rounded_ng for line in batch.lines], batch.naoh_ng, batch.extra_water_ng


class PlainPint:
    """The same weights with quantities of pint throughout."""

    def __init__(self):
        self.units = pint.UnitRegistry(non_int_type=Decimal)
        self.gram = self.units.gram
        self.value = self.units.milligram / self.gram

    def work(self):
        fats = KILOGRAMS * self.units.kilogram
        masses = [self.weigh(Decimal(share) * fats) for share, _ in FATS]
        masses += [self.weigh(Decimal(share) * fats) for share in ADDITIVES]
        demand = sum(
            (
                mass * (Decimal(value) * self.value)
                for mass, (_, value) in zip(masses[: len(FATS)], FATS, strict=True)
            ),
            0 * self.units.gram,
        )
        molar = self.units.gram / self.units.mole
        koh, naoh = Decimal("56.1056") * molar, Decimal("39.9971") * molar
        alkali = self.weigh(demand * (1 - SUPERFAT) / koh * naoh / PURITY)
        water = self.weigh(alkali * PURITY / CONCENTRATION - alkali)
        return [self.ng(mass) for mass in masses], self.ng(alkali), self.ng(water)

    def weigh(self, mass):
        grams = mass.to(self.gram).magnitude
        return grams.quantize(Decimal(1), ROUND_HALF_EVEN) * self.gram

    def ng(self, mass):
        return int(mass.to(self.units.nanogram).magnitude)


def median_seconds(work):
    times = []
    for _ in range(ROUNDS):
        start = perf_counter()
        work()
        times.append(perf_counter() - start)
    return sorted(times)[ROUNDS // 2]


def test_scaling_beside_plain_pint(benchmark, capsys):
    formula, plain = recipe(), PlainPint()
    assert ours(formula) == plain.work()
    benchmark.pedantic(ours, args=(formula,), rounds=ROUNDS, warmup_rounds=5)
    theirs = median_seconds(plain.work)
    mine = benchmark.stats.stats.median
    with capsys.disabled():
        print(  # noqa: T201
            f"\nscale + lye + safety, 12 lines: {mine * 1e6:.0f} us; "
            f"plain pint {theirs * 1e6:.0f} us; ratio {mine / theirs:.2f}"
        )
