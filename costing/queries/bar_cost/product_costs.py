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
from costing.domain.rates.rates import Rate, rates_in_force
from costing.models.prices.prices import Product
from costing.queries.bar_cost.kept_plans import outline_of, sized
from costing.queries.bar_cost.not_known import NotKnown, lots_not_known
from costing.queries.bar_cost.packaging import packings_of_day
from costing.queries.bar_cost.replacement import bought_in, offers_of_day, paid_days, paid_note
from costing.queries.bar_cost.standards import StandardsInForce, standards_of_day
from costing.queries.rates.rates import fees_of, missing_rates_note, rates_until
from inventory.domain.stock.lots import MovingAverage
from inventory.queries.catalog.materials import materials_by_id
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

IN_STOCK_TOO_LOW = (
    "Labor or overhead of bars in stock is not known yet: what they cost is at least what is told."
)
CURING = "Bars that still cure count with the labor and overhead that are expected of their batch."
NO_PACKING = (
    "Nobody said how it is packed, so what packing costs is not known: give it a packaging set, or "
    "say that it needs no packing."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductCost:
    """The cost of one bar of a product, in ten-thousandths.

    `actual` is the average of the bars in stock by the ledger (released or curing) with packing;
    None when none is held, or some of it is not known. `replacement` is a bar made anew in the
    product's mold by the current version, with packing; None when a price or rate is missing, which
    `notes` then name. Neither is known while nobody said how it is packed. What is known of each
    stands beside (`..._at_least`; None where that is nothing, or no bar is held). `packing` is the
    packaging set's bar and its part of a carton at today's offers.
    """

    product_id: int
    actual: Money | None
    replacement: Money | None
    packing: Money | None
    notes: tuple[str, ...]
    actual_at_least: Money | None = None
    replacement_at_least: Money | None = None

    @property
    def known(self) -> bool:
        """Whether both costs are known, that of bars in stock where any are held."""
        held = self.actual is not None or self.actual_at_least is not None
        return self.replacement is not None and (self.actual is not None or not held)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Part:
    """A cost of a bar without packing: what is known of it, whether that is all, and notes."""

    at_least: Fraction | None = None
    known: bool = False
    notes: tuple[str, ...] = ()

    def with_packing(self, packing: Fraction | None) -> tuple[int | None, int | None]:
        """The cost of a packed bar (None where not known), and what is known of it."""
        if self.at_least is None:
            return None, None
        at_least = round(self.at_least + (packing or 0))
        return (at_least if self.known and packing is not None else None), at_least


@dataclass(frozen=True, slots=True, kw_only=True)
class _Day:
    """All that a day's costs are worked out from, read once for all products."""

    on: date
    rates: list[Rate]
    standards: StandardsInForce
    production: Production
    prices: Prices
    packings: Mapping[int, Packing]
    curing: Mapping[int, list["Batch"]]
    too_low: frozenset[int]
    names: Mapping[int, str]


def product_costs(
    product_ids: Collection[int],
    *,
    on: date,
    quantities: Mapping[int, int] | None = None,
    lacking: NotKnown | None = None,
) -> dict[int, ProductCost]:
    """What a bar of each product costs on a day, by product id; those that are there.

    `quantities` are the bars wanted of a product: replacement then buys for the batches that make
    them at once, else for one batch. `lacking` is read unless it is there. A fixed number of
    queries, however many products; two more for each level of blends that are made here.
    """
    products = Product.objects.filter(pk__in=list(product_ids)).select_related("formula", "mold")
    known = {product.pk: product for product in products}
    plans, refusals = _plans(known)
    day = _read(known, plans, on, lacking or lots_not_known())
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


def _read(
    products: Mapping[int, Product], plans: Mapping[int, Plan], on: date, lacking: NotKnown
) -> _Day:
    rates = rates_until(on)
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
    offers = offers_of_day(bought_in(production) | pieces, on=on)
    paid = paid_days(pieces, offers)
    return _Day(
        on=on,
        rates=rates,
        names={pk: row.name for pk, row in materials_by_id(paid).items()} if paid else {},
        standards=standards_of_day({p.formula_id for p in products.values()}, on=on),
        production=production,
        prices=Prices(
            offers=offers,
            averages=held_on_average({*bars, *pieces}, on=on),
            rates=rates_in_force(rates, on=on).rates,
        ),
        packings=packings,
        curing=curing,
        too_low=lacking.materials,
    )


def _cost(product: Product, plan: Plan | None, refusal: str, day: _Day, wanted: int) -> ProductCost:
    bars = wanted or (plan.bars if plan else 1)
    packing, packing_notes = _packing(product, day, bars)
    held = _actual(product, day)
    anew = _Part(notes=(refusal,)) if plan is None else _replacement(plan, day, wanted)
    actual, actual_at_least = held.with_packing(packing)
    replacement, replacement_at_least = anew.with_packing(packing)
    return ProductCost(
        product_id=product.pk,
        actual=actual,
        replacement=replacement,
        packing=None if packing is None else round(packing),
        notes=tuple(dict.fromkeys((*anew.notes, *held.notes, *packing_notes))),
        actual_at_least=actual_at_least,
        replacement_at_least=replacement_at_least,
    )


def _actual(product: Product, day: _Day) -> _Part:
    """The average of what is held, released or curing, and what was reckoned in it."""
    material = product.formula.product_id
    released = day.prices.averages.get(material, MovingAverage())
    quantity, cost = released.quantity, released.cost
    notes: list[str] = []
    curing = day.curing.get(material, [])
    for batch in curing:
        lot = batch.bar_lot
        if lot is None or batch.poured_on is None:
            continue
        work = day.standards.expected(batch, bars=batch.bars_good or 0)
        found = conversion_of(work, rates_in_force(day.rates, on=batch.poured_on).rates)
        made = max(batch.bars_good or 0, lot.on_hand)
        cost += lot.cost + round(Fraction(found.at_least * lot.on_hand, made))
        quantity += lot.on_hand
        notes.append(missing_rates_note(found.missed, on=batch.poured_on, untold=found.untold))
    if not quantity:
        return _Part()
    unknown = [note for note in notes if note]
    if material in day.too_low:
        unknown.append(IN_STOCK_TOO_LOW)
    return _Part(
        at_least=Fraction(cost, quantity),
        known=not unknown,
        notes=(*((CURING,) if curing else ()), *unknown),
    )


def _replacement(plan: Plan, day: _Day, wanted: int) -> _Part:
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
        return _Part(notes=(str(refusal),))
    named = {pk: day.production.materials[pk].name for pk in recipe.needs}
    paid = {named[pk]: on for pk, on in paid_days(recipe.needs, day.prices.offers).items()}
    missing = sorted(named[pk] for pk in found.bought.missing)
    notes = (
        f"No supplier offers on {day.on}, and none was ever bought: {', '.join(missing)}."
        if missing
        else "",
        missing_rates_note(found.missed, on=day.on, untold=found.untold),
        paid_note(paid, on=day.on),
    )
    return _Part(
        at_least=Fraction(found.known_total, recipe.bars),
        known=not found.unknown,
        notes=tuple(note for note in notes if note),
    )


def _packing(product: Product, day: _Day, bars: int) -> tuple[Fraction | None, list[str]]:
    """Packing of one bar at today's offers; what nobody offers, at the average that is held."""
    if product.packaging_set_id is None:
        return (Fraction(0), []) if product.needs_no_packing else (None, [NO_PACKING])
    packing = day.packings.get(product.packaging_set_id)
    if packing is None:
        return None, [f"The packaging set holds nothing yet on {day.on}; give it an edition."]
    cost = packing_cost(packing, bars, day.prices)
    if cost is None:
        return None, [
            f"No supplier offers all of its packaging on {day.on}, and what is missing was never"
            " bought and is not held."
        ]
    needs = packing.needs(bars)
    paid = paid_days(needs, day.prices.offers)
    note = paid_note({day.names[pk]: on for pk, on in paid.items()}, on=day.on) if paid else ""
    return cost, [note] if note else []
