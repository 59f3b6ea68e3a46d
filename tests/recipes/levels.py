"""A soap of three intermediates, one of them made of another: masterbatch lye, an infused oil that
steeps two weeks, and a color dispersed in that oil. All made up.
"""

from dataclasses import dataclass, replace
from datetime import timedelta
from decimal import Decimal

from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.models.catalog.materials import Material
from recipes.domain.formulas.formula import Basis, Stage
from recipes.domain.formulas.scaled import FatTarget
from recipes.models.formulas.formulas import Formula, FormulaKind
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import Wish, make_plan
from recipes.services.formulas.formulas import LineSpec, VersionSpec, add_formula, add_version
from tests.inventory.making import KG, TODAY, make_lot, make_material

G = KG // 1000
#: What is made before the day of a batch takes what came in before.
LONG_THERE = TODAY - timedelta(days=90)
RAW = ("naoh", "water", "olive", "coconut", "petals", "clay", "box")


@dataclass
class Levels:
    """Materials and formulas by code."""

    materials: dict[str, Material]
    formulas: dict[str, Formula]


def make_levels() -> Levels:
    materials = _materials()
    formulas = {
        "lye": _blend("lye", materials, {"naoh": "0.5", "water": "0.5"}),
        "infused": _blend(
            "infused",
            materials,
            {"olive": "0.9", "petals": "0.1"},
            pot_loss_share=Decimal("0.14"),
            ready_days=14,
        ),
        "dispersion": _blend("dispersion", materials, {"clay": "0.4", "infused": "0.6"}),
        "soap": add_formula(code="garden", name="Garden"),
    }
    shares = {"infused": "0.6", "coconut": "0.4"}
    lines = [
        LineSpec(material=materials[code], basis=Basis.SHARE_OF_FATS, amount=Decimal(share))
        for code, share in shares.items()
    ]
    lines.append(_line(materials["dispersion"], Basis.OF_FATS, "0.05", Stage.TRACE))
    lines.append(_line(materials["box"], Basis.PER_BAR, "1", Stage.PACK))
    add_version(
        formulas["soap"],
        VersionSpec(
            lines=lines,
            masterbatch=materials["lye"],
            water=materials["water"],
            superfat=Decimal("0.06"),
            lye_concentration=Decimal("0.33"),
            cure_days=28,
            minutes=90,
        ),
    )
    return Levels(materials, formulas)


def fill(levels: Levels, amount: int = 5 * KG, **amounts: int) -> None:
    """A lot of every raw material at 5 a kg (and pieces), or of so much as is said, long there."""
    for code in RAW:
        material = levels.materials[code]
        wanted = amounts.get(code, 100 if material.counted else amount)
        if wanted:
            make_lot(material, wanted, 50_007, received_on=LONG_THERE)


def soap_plan(fats: int = KG, bars: int = 8):
    return make_plan(load_formula(code="garden"), Wish(target=FatTarget(fats), bars=bars))


def blend_of(levels: Levels, code: str, parts: dict[str, str], **spec: object) -> Formula:
    """One more blend, of materials that are there."""
    return _blend(code, levels.materials, parts, **spec)


def days(day, count: int):
    return day + timedelta(days=count)


def _materials() -> dict[str, Material]:
    oil = {"density_g_ml": Decimal("0.915"), "density_temperature_c": Decimal(20)}
    made = {"kind": Kind.INTERMEDIATE.value}
    return {
        "olive": make_material("olive", sv_mg_koh_g=Decimal(190), **oil),
        "coconut": make_material("coconut", sv_mg_koh_g=Decimal(256), **oil),
        "infused": make_material("infused", sv_mg_koh_g=Decimal(190), **oil, **made),
        "lye": make_material("lye", alkali="NaOH", purity=Decimal("0.49"), **made),
        "dispersion": make_material("dispersion", **made),
        "naoh": make_material(
            "naoh", kind=Kind.ALKALI.value, alkali="NaOH", purity=Decimal("0.98")
        ),
        "water": make_material("water", kind=Kind.LIQUID.value, water_share=Decimal(1)),
        "petals": make_material("petals", kind=Kind.ADDITIVE.value),
        "clay": make_material("clay", kind=Kind.COLORANT.value),
        "box": make_material("box", kind=Kind.PACKAGING.value, counted=True),
    }


def _line(material, basis, amount, stage=Stage.FATS):
    return LineSpec(material=material, basis=basis, amount=Decimal(amount), stage=stage)


def _blend(code, materials, parts, **spec):
    if code not in materials:
        materials[code] = make_material(code, kind=Kind.INTERMEDIATE.value)
    formula = add_formula(
        code=f"make-{code}", name=f"Make {code}", kind=FormulaKind.BLEND, product=materials[code]
    )
    lines = [
        replace(
            _line(materials[part], Basis.OF_BATTER, share),
            strained=(code, part) == ("infused", "petals"),
        )
        for part, share in parts.items()
    ]
    add_version(formula, VersionSpec(lines=lines, **spec))
    return formula
