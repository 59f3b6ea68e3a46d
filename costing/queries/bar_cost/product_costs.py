"""What a bar of each product costs: as the books hold it, and to make it anew today."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from typing import TYPE_CHECKING

from costing.domain.bar_cost.conversion import conversion_of
from costing.domain.bar_cost.packing import Packing
from costing.domain.bar_cost.recipe_cost import (
    Prices,
    cost_of_recipe,
    packing_cost,
    replaced_at_offers,
)
from costing.domain.rates.rates import Rate, RatesInForce, rates_in_force
from costing.models.prices.prices import Product
from costing.queries.bar_cost.kept_plans import outline_of, sized
from costing.queries.bar_cost.packaging import packings_of_day
from costing.queries.bar_cost.replacement import offers_of_day
from costing.queries.bar_cost.standards import StandardsInForce, standards_of_day
from costing.queries.rates.rates import fees_of, missing_rates_note, rates_until
from inventory.domain.stock.lots import MovingAverage
from inventory.queries.stock.on_hand import held_on_average
from recipes.queries.cure.cure import curing_bars
from recipes.queries.formulas.listed import current_versions
from recipes.queries.levels.explosion import Production, production_below
from recipes.queries.scaling.plans import Plan, Wish, make_plan
from studio.foundation.errors import NotFound, Refusal
from studio.foundation.hints import Money

if TYPE_CHECKING:
    from recipes.models.bench.batches import Batch

__all__ = ["ProductCost", "cost_of_product", "fees_of", "product_costs"]

CURING = "Bars that still cure count with the labor and overhead that are expected of their batch."
NO_PACKING = "Nothing says how it is packed, so packing costs nothing here."


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductCost:
    """The cost of one bar of a product, in ten-thousandths.

    `actual` is the average of the bars in stock by the ledger (released or curing) with packing;
    None when none is held. `replacement` is a bar made anew in the product's mold by the current
    version, with packing; None when a price is missing, which `notes` then name. `packing` is the
    packaging set's bar and its part of a carton at today's offers.
    """

    product_id: int
    actual: Money | None
    replacement: Money | None
    packing: Money | None
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Day:
    """All that a day's costs are worked out from, read once for all products."""

    on: date
    rates: list[Rate]
    found: RatesInForce
    standards: StandardsInForce
    production: Production
    prices: Prices
    packings: Mapping[int, Packing]
    curing: Mapping[int, list["Batch"]]


def product_costs(
    product_ids: Collection[int], *, on: date, quantities: Mapping[int, int] | None = None
) -> dict[int, ProductCost]:
    """What a bar of each product costs on a day, by product id; those that are there.

    `quantities` are the bars wanted of a product: replacement then buys for the batches that make
    them at once, else for one batch. A fixed number of queries, however many products; two more
    for each level of blends that are made here.
    """
    products = Product.objects.filter(pk__in=list(product_ids)).select_related("formula", "mold")
    known = {product.pk: product for product in products}
    plans, refusals = _plans(known)
    day = _read(known, plans, on)
    wanted = quantities or {}
    return {
        pk: _cost(product, plans.get(pk), refusals.get(pk, ""), day, wanted.get(pk, 0))
        for pk, product in known.items()
    }


def cost_of_product(code: str, *, on: date, quantity: int | None = None) -> ProductCost:
    """What a bar of one product costs on a day, for a quantity of them. Raises NotFound."""
    pk = Product.objects.filter(code=code).values_list("pk", flat=True).first()
    if pk is None:
        raise NotFound(f"There is no product {code}.", field="product")
    return product_costs([pk], on=on, quantities={pk: quantity} if quantity else {})[pk]


def _plans(products: Mapping[int, Product]) -> tuple[dict[int, Plan], dict[int, str]]:
    """The current version in the product's mold, and in words why there is no such plan."""
    loaded = current_versions({product.formula_id for product in products.values()})
    plans: dict[int, Plan] = {}
    refusals: dict[int, str] = {}
    for pk, product in products.items():
        current = loaded.get(product.formula_id)
        if current is None:
            refusals[pk] = f"The recipe {product.formula.code} has no version yet."
            continue
        try:
            plan = make_plan(current, Wish(mold=product.mold))
        except Refusal as refusal:
            refusals[pk] = f"The current version cannot be made in its mold: {refusal}"
            continue
        if plan.bars:
            plans[pk] = plan
        else:
            refusals[pk] = f"The mold {product.mold.code} is not cut into bars."
    return plans, refusals


def _read(products: Mapping[int, Product], plans: Mapping[int, Plan], on: date) -> _Day:
    rates = rates_until(on)
    found = rates_in_force(rates, on=on)
    packings = packings_of_day(
        {p.packaging_set_id for p in products.values() if p.packaging_set_id}, on=on
    )
    production = production_below(
        material for plan in plans.values() for material in plan.materials.values()
    )
    pieces = {piece.material for packing in packings.values() for piece in packing.pieces}
    bars = {product.formula.product_id for product in products.values()}
    curing: dict[int, list[Batch]] = {}
    for batch in curing_bars(bars):
        curing.setdefault(batch.version.formula.product_id, []).append(batch)
    return _Day(
        on=on,
        rates=rates,
        found=found,
        standards=standards_of_day({p.formula_id for p in products.values()}, on=on),
        production=production,
        prices=Prices(
            offers=offers_of_day({*production.materials, *pieces}, on=on),
            averages=held_on_average({*bars, *pieces}, on=on),
            rates=found.rates,
        ),
        packings=packings,
        curing=curing,
    )


def _cost(product: Product, plan: Plan | None, refusal: str, day: _Day, wanted: int) -> ProductCost:
    notes = [refusal] if refusal else []
    bars = wanted or (plan.bars if plan else 1)
    packing, packing_notes = _packing(product, day, bars)
    actual, actual_notes = _actual(product, day)
    replacement = None
    if plan is not None:
        replacement, replacement_notes = _replacement(plan, day, wanted)
        notes += replacement_notes
    per_bar = None if packing is None else round(packing)
    return ProductCost(
        product_id=product.pk,
        actual=None if actual is None or packing is None else round(actual + packing),
        replacement=None
        if replacement is None or packing is None
        else round(replacement + packing),
        packing=per_bar,
        notes=(*notes, *actual_notes, *packing_notes),
    )


def _actual(product: Product, day: _Day) -> tuple[Fraction | None, list[str]]:
    """The average of what is held, released or curing, and what was reckoned in it."""
    material = product.formula.product_id
    released = day.prices.averages.get(material, MovingAverage())
    quantity, cost = released.quantity, released.cost
    curing = day.curing.get(material, [])
    for batch in curing:
        lot = batch.bar_lot
        if lot is None or batch.poured_on is None:
            continue
        work = day.standards.work(batch.version, bars=batch.bars_good or 0)
        rates = rates_in_force(day.rates, on=batch.poured_on).rates
        made = max(batch.bars_good or 0, lot.on_hand)
        cost += lot.cost + round(Fraction(conversion_of(work, rates).total * lot.on_hand, made))
        quantity += lot.on_hand
    if not quantity:
        return None, []
    return Fraction(cost, quantity), [CURING] if curing else []


def _replacement(plan: Plan, day: _Day, wanted: int) -> tuple[Fraction | None, list[str]]:
    """One bar of as many batches as are wanted, at today's offers and rates."""
    try:
        recipe = sized(
            outline_of(plan),
            day.production,
            work=day.standards.work_of_plan(plan),
            batches=max(-(-wanted // plan.bars), 1),
        )
        found = cost_of_recipe(recipe, day.prices, replaced_at_offers)
    except Refusal as refusal:
        return None, [str(refusal)]
    if found.bought.missing:
        names = sorted(day.production.materials[pk].name for pk in found.bought.missing)
        return None, [f"No supplier offers on {day.on}: {', '.join(names)}."]
    note = missing_rates_note(day.found, on=day.on)
    return Fraction(found.total, recipe.bars), [note] if note else []


def _packing(product: Product, day: _Day, bars: int) -> tuple[Fraction | None, list[str]]:
    """Packing of one bar at today's offers; what nobody offers, at the average that is held."""
    if product.packaging_set_id is None:
        return Fraction(0), [NO_PACKING]
    packing = day.packings.get(product.packaging_set_id)
    if packing is None:
        return None, [f"The packaging set holds nothing yet on {day.on}; give it an edition."]
    cost = packing_cost(packing, bars, day.prices)
    if cost is None:
        return None, [f"No supplier offers all of its packaging on {day.on}, nor is it held."]
    return cost, []
