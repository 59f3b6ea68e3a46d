"""A small recipe with its shelf, made through the services."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.models.catalog.materials import Material
from recipes.domain.formulas.formula import Basis, Stage
from recipes.models.formulas.formulas import Formula, FormulaVersion
from recipes.models.molds.molds import Mold
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import Wish, make_plan
from recipes.services.formulas.formulas import (
    LineSpec,
    VersionSpec,
    add_formula,
    add_version,
    make_current,
)
from recipes.services.scaling.planning import plan_batch
from tests.inventory.making import KG, TODAY, make_lot, make_material

SV = {"olive": "190", "coconut": "256"}


@dataclass
class Bench:
    """The materials by code, the formula with its version, and a mold of eight bars."""

    materials: dict[str, Material]
    formula: Formula
    version: FormulaVersion
    mold: Mold


def make_bench(**spec: object) -> Bench:
    materials = {
        code: make_material(
            code,
            sv_mg_koh_g=Decimal(value),
            sv_low_mg_koh_g=Decimal(value) - 6,
            density_g_ml=Decimal("0.915"),
            density_temperature_c=Decimal(20),
        )
        for code, value in SV.items()
    }
    materials["naoh"] = make_material(
        "naoh", kind=Kind.ALKALI.value, alkali="NaOH", purity=Decimal("0.98")
    )
    materials["water"] = make_material(
        "water", kind=Kind.LIQUID.value, water_share=Decimal(1), density_g_ml=Decimal(1)
    )
    materials["scent"] = make_material(
        "scent",
        kind=Kind.FRAGRANCE.value,
        ifra_category9_max=Decimal("0.05"),
        density_g_ml=Decimal("0.95"),
    )
    materials["box"] = make_material("box", kind=Kind.PACKAGING.value, counted=True)
    formula = add_formula(code="plain", name="Plain olive")
    version = add_version(formula, plain_spec(materials, **spec))
    mold = Mold.objects.create(
        code="loaf",
        name="Loaf",
        shape="rectangular",
        length=240_000_000,
        width=70_000_000,
        depth=60_000_000,
        rows=8,
    )
    return Bench(materials, formula, version, mold)


def plain_spec(materials: dict[str, Material], **spec: object) -> VersionSpec:
    """Olive and coconut oil, 7 to 3, with a scent; a box for each bar."""
    lines = [
        LineSpec(material=materials["olive"], basis=Basis.SHARE_OF_FATS, amount=Decimal("0.7")),
        LineSpec(material=materials["coconut"], basis=Basis.SHARE_OF_FATS, amount=Decimal("0.3")),
        LineSpec(
            material=materials["scent"],
            basis=Basis.OF_FATS,
            amount=Decimal("0.03"),
            stage=Stage.TRACE,
        ),
        LineSpec(
            material=materials["box"], basis=Basis.PER_BAR, amount=Decimal(1), stage=Stage.PACK
        ),
    ]
    values: dict[str, object] = {
        "lines": lines,
        "naoh": materials["naoh"],
        "water": materials["water"],
        "superfat": Decimal("0.06"),
        "lye_concentration": Decimal("0.33"),
        "cure_loss_share": Decimal("0.1"),
        "cure_days": 28,
        "minutes": 90,
    }
    return VersionSpec(**{**values, **spec})


def stock(bench: Bench, amount: int = 5 * KG, cost: int = 50_000, **values: object) -> None:
    """One lot of every material: `amount` ng of what is weighed, 100 pieces of what is counted."""
    for material in bench.materials.values():
        make_lot(material, 100 if material.counted else amount, cost, **values)


def planned(bench: Bench, *, on: date = TODAY, **wish: object):
    plan = make_plan(load_formula(code="plain"), Wish(**(wish or {"mold": bench.mold})))
    return plan_batch(plan, planned_on=on)


def next_version(formula: Formula, spec: VersionSpec) -> FormulaVersion:
    """Another version, made current at once."""
    version = add_version(formula, spec)
    make_current(version)
    formula.refresh_from_db()
    return version
