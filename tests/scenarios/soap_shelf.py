"""A studio for walks: four blends, one of them of a blend, and soaps of every kind of lye.

All made up. Superfats are small, so that a certificate or a slip at the scale turns them.
"""

from dataclasses import dataclass, replace
from decimal import Decimal as D
from fractions import Fraction as F

from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.domain.stock.ledger import Verb
from inventory.models.catalog.materials import Material
from inventory.services.catalog.materials import ensure_made_material
from inventory.services.stock.ledger import Origin
from inventory.services.stock.production import NewLot, open_lots
from recipes.domain.formulas.formula import Basis, Stage
from recipes.models.formulas.formulas import FormulaKind
from recipes.queries.formulas.formulas import load_formula
from recipes.services.formulas.formulas import LineSpec, VersionSpec, add_formula, add_version
from tests.inventory.making import KG, TODAY, make_material

RAW = ("olive", "coconut", "naoh", "koh", "water", "clay", "soda", "citric", "scent", "box")
CURE_DAYS, CURE_LOSS, POT_LOSS = 28, F(1, 10), F(2, 100)


@dataclass(frozen=True)
class Recipe:
    """What the walk knows of a recipe: the fats that its lye is set on, and what is lost."""

    code: str
    fats: frozenset[str] = frozenset()
    loss: F = F(0)
    cure_loss: F = CURE_LOSS

    @property
    def soap(self) -> bool:
        return bool(self.fats)


BLENDS = {
    "lye": {"naoh": "0.5", "water": "0.5"},
    "thin": {"lye": "0.7", "water": "0.3"},
    "clayed": {"olive": "0.8", "clay": "0.18", "soda": "0.02"},
    "twice": {"clayed": "0.5", "coconut": "0.5"},
    "scented": {"scent": "0.5", "olive": "0.5"},
}
#: Fats as shares, other lines as parts of the fats, and what the lye is of.
SOAPS = {
    "plain": ({"olive": "0.7", "coconut": "0.3"}, {"scent": "0.02"}, {"naoh": "naoh"}),
    "stored": (
        {"twice": "0.6", "coconut": "0.4"},
        {"scented": "0.04", "citric": "0.01"},
        {"masterbatch": "lye"},
    ),
    "weak": ({"olive": "1"}, {"scent": "0.01"}, {"masterbatch": "thin"}),
    "dual": ({"olive": "0.6", "coconut": "0.4"}, {"soda": "0.01"}, {"naoh": "naoh", "koh": "koh"}),
    "again": ({"olive": "1"}, {"plain-ends": "0.1"}, {"naoh": "naoh"}),
}


@dataclass
class SoapShelf:
    """Materials by code, and recipes by the code of their formula."""

    materials: dict[str, Material]
    recipes: dict[str, Recipe]

    @property
    def loaded(self):
        return {code: load_formula(code=code) for code in self.recipes}


def make_soap_shelf() -> SoapShelf:
    materials = _materials()
    recipes = {}
    for code, parts in BLENDS.items():
        loss = POT_LOSS if code in ("lye", "scented") else F(0)
        formula = add_formula(
            code=f"make-{code}", name=code, kind=FormulaKind.BLEND, product=materials[code]
        )
        lines = [_line(materials[part], Basis.OF_BATTER, share) for part, share in parts.items()]
        add_version(formula, VersionSpec(lines=lines, pot_loss_share=D(str(float(loss)))))
        recipes[formula.code] = Recipe(formula.code, loss=loss)
    for code, (fats, others, lye) in SOAPS.items():
        formula = add_formula(code=code, name=code)
        lines = [
            _line(materials[part], Basis.SHARE_OF_FATS, amount) for part, amount in fats.items()
        ]
        lines += [
            replace(_line(materials[part], Basis.OF_FATS, amount), stage=Stage.TRACE)
            for part, amount in others.items()
        ]
        if code == "plain":
            lines.append(replace(_line(materials["box"], Basis.PER_BAR, "1"), stage=Stage.PACK))
        spec = VersionSpec(
            lines=lines,
            water=materials["water"],
            koh_share=D("0.4") if "koh" in lye else D(0),
            superfat=D("0.04"),
            lye_concentration=D("0.28"),
            cure_loss_share=D("0.1"),
            cure_days=CURE_DAYS,
            **{slot: materials[part] for slot, part in lye.items()},
        )
        add_version(formula, spec)
        recipes[code] = Recipe(code, fats=frozenset(fats))
    return SoapShelf(materials, recipes)


def fill_soap_shelf(shelf: SoapShelf) -> int:
    """Two lots of all that is bought, which state nothing; what they cost together."""
    new = [
        NewLot(
            material=shelf.materials[code],
            amount=1_000 if code == "box" else 30 * KG,
            cost=cost,
            received_on=TODAY,
        )
        for code in RAW
        for cost in (123_457, 99_991)
    ]
    open_lots(new, verb=Verb.RECEIVE, origin=Origin(reference="walk"))
    return sum(lot.cost for lot in new)


def _materials() -> dict[str, Material]:
    oil = {"density_g_ml": D("0.915"), "density_temperature_c": D(20)}
    made = {"kind": Kind.INTERMEDIATE.value}
    materials = {
        "olive": make_material("olive", sv_mg_koh_g=D(190), **oil),
        "coconut": make_material("coconut", sv_mg_koh_g=D(256), **oil),
        "naoh": make_material("naoh", kind=Kind.ALKALI.value, alkali="NaOH", purity=D("0.98")),
        "koh": make_material("koh", kind=Kind.ALKALI.value, alkali="KOH", purity=D("0.9")),
        "water": make_material("water", kind=Kind.LIQUID.value, water_share=D(1)),
        "clay": make_material("clay", kind=Kind.COLORANT.value),
        "soda": make_material("soda", kind=Kind.ADDITIVE.value, inci_name="Sodium Carbonate"),
        "citric": make_material("citric", kind=Kind.ACID.value, acid_naoh_g_per_g=D("0.6246")),
        "scent": make_material(
            "scent", kind=Kind.FRAGRANCE.value, ifra_category9_max=D("0.03"), density_g_ml=D("0.95")
        ),
        "box": make_material("box", kind=Kind.PACKAGING.value, counted=True),
        "lye": make_material("lye", alkali="NaOH", purity=D("0.49"), **made),
        "thin": make_material("thin", alkali="NaOH", purity=D("0.34"), **made),
        "clayed": make_material("clayed", sv_mg_koh_g=D(152), **oil, **made),
        "twice": make_material("twice", sv_mg_koh_g=D(204), **oil, **made),
        "scented": make_material("scented", **made),
    }
    materials["plain-ends"] = ensure_made_material(
        code="plain-ends", name="plain, ends", kind=Kind.INTERMEDIATE
    )
    return materials


def _line(material: Material, basis: Basis, amount: str) -> LineSpec:
    return LineSpec(material=material, basis=basis, amount=D(amount))
