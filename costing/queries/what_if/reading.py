"""What a question about all recipes is worked out from, read once: recipes, sizes, prices."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from costing.domain.bar_cost.packing import Packing
from costing.domain.bar_cost.recipe_cost import Prices, Sized
from costing.errors import WhatIfRefusal
from costing.models.prices.prices import Product
from costing.queries.bar_cost.kept_plans import Outline, Plans, Wanted, sized
from costing.queries.bar_cost.not_known import NotKnown, lots_not_known
from costing.queries.bar_cost.packaging import packings_of_day
from costing.queries.bar_cost.price_basis import PriceBasis
from costing.queries.bar_cost.replacement import bought_in, offers_of_day
from costing.queries.bar_cost.standards import StandardsInForce, standards_of_day
from costing.queries.rates.rates import rates_of_day
from inventory.queries.stock.on_hand import held_on_average
from recipes.queries.formulas.listed import active_soaps
from recipes.queries.levels.explosion import Production, production_below
from recipes.queries.molds.molds import molds_by_code
from studio.foundation.errors import Faults, Refusal

if TYPE_CHECKING:
    from recipes.models.formulas.formulas import Formula
    from recipes.models.molds.molds import Mold

NO_PRODUCTS = (
    "Nothing is sold yet, so no recipe has its mold: enter products, or say which molds to ask"
    " about."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedRecipe:
    """A recipe in a mold, with the products that are sold of it packed in one way.

    One that is asked about without a product is a bar that nothing packs.
    """

    formula: "Formula"
    mold: "Mold"
    packaging_set: int | None = None
    needs_no_packing: bool = True
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
    outline: Outline


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """All that holds on a day for these recipes; `used` are materials, by id, that they take.

    `names` are those of materials of their batches by id.
    """

    on: date
    basis: PriceBasis
    used: frozenset[int]
    production: Production
    standards: StandardsInForce
    packings: Mapping[int, Packing]
    names: Mapping[int, str]
    prices: Prices
    lacking: NotKnown


def asked_recipes(*, formulas: Collection[str], molds: Collection[str]) -> list[AskedRecipe]:
    """The active products' recipes, each in its product's mold; with `molds` all recipes in them.

    One query, two with `molds`. Raises WhatIfRefusal for names that are not there, or nothing.
    """
    found = _in_molds(molds) if molds else _of_products(formulas)
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


def planned(asked: Sequence[AskedRecipe], plans: Plans) -> tuple[list[Planned], list[NotMade]]:
    """The current version of each recipe in its mold, and which cannot be made so.

    Queries as `Plans.of`.
    """
    there = [each for each in asked if each.formula.pk in plans.heads]
    found = plans.of([Wanted(formula=each.formula.pk, mold=each.mold) for each in there])
    outlines = dict(zip((id(each) for each in there), found, strict=True))
    made: list[Planned] = []
    not_made: list[NotMade] = []
    for recipe in asked:
        outline = outlines.get(id(recipe))
        if isinstance(outline, Outline) and outline.bars:
            made.append(Planned(recipe=recipe, outline=outline))
        else:
            not_made.append(NotMade(recipe=recipe, reason=_reason(recipe, outline)))
    return made, not_made


def read_day(made: Sequence[Planned], plans: Plans, *, on: date, basis: PriceBasis) -> Day:
    """What holds for these recipes on a day. Eight queries, and two a level of blends; more where
    something is not known (`costing.queries.bar_cost.not_known`)."""
    materials = {pk: plans.materials[pk] for each in made for pk in each.outline.needs}
    production = Production({}, materials)
    if basis.look_up.from_offers:
        production = production_below(materials.values())
    sets = {each.recipe.packaging_set for each in made if each.recipe.packaging_set}
    packings = packings_of_day(sets, on=on)
    pieces = {piece.material for packing in packings.values() for piece in packing.pieces}
    averages = held_on_average({*materials, *pieces}, on=on)
    lacking = lots_not_known()
    for pk in lacking.materials:
        averages.pop(pk, None)  # what is held lacks labor or overhead: its average is not known
    return Day(
        on=on,
        basis=basis,
        used=frozenset({*production.materials, *pieces}),
        production=production,
        standards=standards_of_day({each.recipe.formula.pk for each in made}, on=on),
        packings=packings,
        names={pk: material.name for pk, material in production.materials.items()},
        prices=Prices(
            offers=offers_of_day(bought_in(production) | pieces, on=on),
            averages=averages,
            rates=rates_of_day(on).rates,
        ),
        lacking=lacking,
    )


def sized_on(day: Day, recipe: AskedRecipe, outline: Outline) -> Sized:
    """A recipe at its size, as it is costed. No query. Raises ProductionCycle, ScalingRefusal."""
    return sized(
        outline,
        day.production,
        work=day.standards.work_of_soap(
            recipe.formula.pk,
            bars=outline.bars,
            minutes=outline.minutes,
            cure_days=outline.cure_days,
        ),
        packing=day.packings.get(recipe.packaging_set or 0),
        packing_said=recipe.needs_no_packing or recipe.packaging_set in day.packings,
    )


def _reason(recipe: AskedRecipe, outline: Outline | Refusal | None) -> str:
    if outline is None:
        return f"The recipe {recipe.formula.code} has no version yet."
    if isinstance(outline, Refusal):
        return f"The current version cannot be made in its mold: {outline}"
    return f"The mold {recipe.mold.code} is not cut into bars."


def _of_products(formulas: Collection[str]) -> list[AskedRecipe]:
    rows = Product.objects.filter(active=True, formula__active=True)
    if formulas:
        rows = rows.filter(formula__code__in=set(formulas))
    found: dict[tuple[int, int, int | None, bool], AskedRecipe] = {}
    for product in rows.select_related("formula", "mold").order_by("code"):
        without = product.needs_no_packing
        key = (product.formula_id, product.mold_id, product.packaging_set_id, without)
        before = found[key].products if key in found else ()
        found[key] = AskedRecipe(
            formula=product.formula,
            mold=product.mold,
            packaging_set=product.packaging_set_id,
            needs_no_packing=without,
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
