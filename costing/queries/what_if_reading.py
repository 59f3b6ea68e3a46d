"""What a question about all recipes is worked out from, read once: recipes, sizes, prices."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from costing.domain.packing import Packing
from costing.domain.pricing import PriceBasis
from costing.domain.rates import RatesInForce
from costing.domain.what_if import Sized
from costing.domain.what_if_changes import Prices
from costing.errors import WhatIfRefusal
from costing.models import Product
from costing.queries.packaging import packings_of_day
from costing.queries.rates import rates_of_day
from costing.queries.replacement import offers_of_day, taken_apart
from costing.queries.standards import StandardsInForce, standards_of_day
from inventory.queries import held_on_average
from recipes.domain.formula import Stage
from recipes.queries.explosion import Production, production_below
from recipes.queries.molds import molds_by_code
from recipes.queries.newest import active_soaps, newest_versions
from recipes.services.planning import Plan, Wish, make_plan
from studio.errors import Faults, Refusal

if TYPE_CHECKING:
    from recipes.models import Formula, Mold
    from recipes.queries.formulas import LoadedFormula

NO_PRODUCTS = (
    "Nothing is sold yet, so no recipe has its mold: enter products, or say which molds to ask"
    " about."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedRecipe:
    """A recipe in a mold, with the products that are sold of it packed in one way."""

    formula: "Formula"
    mold: "Mold"
    packaging_set: int | None = None
    products: tuple[Product, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class NotMade:
    """A recipe that cannot be costed in its mold, and why."""

    recipe: AskedRecipe
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """A recipe at its size."""

    recipe: AskedRecipe
    plan: Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """All that holds on a day for these recipes; `used` are materials, by id, that they take."""

    on: date
    basis: PriceBasis
    used: frozenset[int]
    production: Production
    standards: StandardsInForce
    packings: Mapping[int, Packing]
    rates: RatesInForce
    prices: Prices


def asked_recipes(*, formulas: Collection[str], molds: Collection[str]) -> list[AskedRecipe]:
    """The active products' recipes, each in its product's mold; with `molds` all recipes in them.

    One query, two with `molds`. Raises WhatIfRefusal for names that are not there, or nothing.
    """
    found = _in_molds(molds) if molds else _of_products()
    known = {each.formula.code for each in found}
    faults = Faults()
    for place, code in enumerate(formulas):
        if code not in known:
            where = "active recipe" if molds else "active product of a recipe"
            faults.add("not-there", f"There is no {where} {code}.", f"formulas.{place}")
    if not found and not faults:
        faults.add("nothing-there", NO_PRODUCTS, "molds")
    faults.raise_if_any(WhatIfRefusal)
    return [each for each in found if not formulas or each.formula.code in set(formulas)]


def planned(asked: Sequence[AskedRecipe]) -> tuple[list[Planned], list[NotMade]]:
    """The newest version of each recipe in its mold, and which cannot be made so. Four queries."""
    loaded = newest_versions({each.formula.pk for each in asked})
    plans: dict[tuple[int, int], Plan | str] = {}
    made: list[Planned] = []
    not_made: list[NotMade] = []
    for recipe in asked:
        key = (recipe.formula.pk, recipe.mold.pk)
        if key not in plans:
            newest = loaded.get(recipe.formula.pk)
            plans[key] = (
                f"The recipe {recipe.formula.code} has no version yet."
                if newest is None
                else _plan(newest, recipe.mold)
            )
        plan = plans[key]
        if isinstance(plan, str):
            not_made.append(NotMade(recipe=recipe, reason=plan))
        else:
            made.append(Planned(recipe=recipe, plan=plan))
    return made, not_made


def read_day(made: Sequence[Planned], *, on: date, basis: PriceBasis) -> Day:
    """What holds for these recipes on a day. Six queries, and two a level of blends."""
    materials = {pk: m for each in made for pk, m in each.plan.materials.items()}
    production = Production({}, materials)
    if basis is PriceBasis.REPLACEMENT:
        production = production_below(materials.values())
    sets = {each.recipe.packaging_set for each in made if each.recipe.packaging_set}
    packings = packings_of_day(sets, on=on)
    pieces = {piece.material for packing in packings.values() for piece in packing.pieces}
    rates = rates_of_day(on)
    return Day(
        on=on,
        basis=basis,
        used=frozenset({*production.materials, *pieces}),
        production=production,
        standards=standards_of_day({each.recipe.formula.pk for each in made}, on=on),
        packings=packings,
        rates=rates,
        prices=Prices(
            offers=offers_of_day({*production.materials, *pieces}, on=on),
            averages=held_on_average({*materials, *pieces}, on=on),
            rates=rates.rates,
        ),
    )


def sized(each: Planned, day: Day) -> Sized:
    """A plan as the table of what-if takes it. No query. Raises ProductionCycle, ScalingRefusal."""
    plan = each.plan
    soap = {line.material.pk for line in plan.lines if line.stage is not Stage.PACK}
    needs, apart = plan.needs, None
    if day.basis is PriceBasis.REPLACEMENT and any(pk in day.production.makers for pk in needs):
        apart = taken_apart(needs, day.production)
        needs = {pk: sum(tops.values()) for pk, tops in apart.bought.items()}
        soap |= {pk for pk in needs if pk not in plan.needs}
    return Sized(
        needs=needs,
        bars=plan.bars,
        work=day.standards.work_of_plan(plan),
        packed=frozenset(pk for pk in needs if pk not in soap),
        makings=apart.makings if apart else (),
        packing=day.packings.get(each.recipe.packaging_set or 0),
    )


def _plan(newest: "LoadedFormula", mold: "Mold") -> Plan | str:
    try:
        plan = make_plan(newest, Wish(mold=mold))
    except Refusal as refusal:
        return f"The newest version cannot be made in its mold: {refusal}"
    return plan if plan.bars else f"The mold {mold.code} is not cut into bars."


def _of_products() -> list[AskedRecipe]:
    rows = Product.objects.filter(active=True, formula__active=True)
    found: dict[tuple[int, int, int | None], AskedRecipe] = {}
    for product in rows.select_related("formula", "mold").order_by("code"):
        key = (product.formula_id, product.mold_id, product.packaging_set_id)
        before = found[key].products if key in found else ()
        found[key] = AskedRecipe(
            formula=product.formula,
            mold=product.mold,
            packaging_set=product.packaging_set_id,
            products=(*before, product),
        )
    return list(found.values())


def _in_molds(codes: Collection[str]) -> list[AskedRecipe]:
    molds = molds_by_code(codes)
    faults = Faults()
    for place, code in enumerate(codes):
        if code not in molds:
            faults.add("not-there", f"There is no mold {code}.", f"molds.{place}")
    faults.raise_if_any(WhatIfRefusal)
    return [
        AskedRecipe(formula=formula, mold=molds[code])
        for formula in active_soaps()
        for code in dict.fromkeys(codes)
    ]
