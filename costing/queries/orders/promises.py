"""Promise dates of bars: from what is cured, curing and planned, else from new batches."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from costing.domain.orders.promising import (
    Asked,
    Bars,
    Found,
    Origin,
    ShelfDay,
    Started,
    Way,
    Workshop,
    less,
    promise_bars,
    ready_days,
)
from costing.models.orders.sales import SalesOrderBatch
from costing.models.prices.prices import Product
from inventory.queries.stock.free_lots import free_lots, owed_of
from recipes.queries.cure.bars import (
    USUAL_DAYS_IN_MOLD,
    BatchUnderWay,
    batches_under_way,
    days_in_mold,
)
from recipes.queries.formulas.listed import current_versions
from recipes.queries.levels.explosion import FirstDays, first_days
from recipes.queries.scaling.plans import Plan, Wish, make_plan
from studio.foundation.errors import NotFound, Refusal
from studio.foundation.units.writing import how_many


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """So many bars of a product."""

    product_id: int
    quantity: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PromisePart:
    """Bars from one place: `kind` is "cured", "curing", "planned" or "new".

    `code` names the lot, the batch, or the mold of a new batch.
    """

    kind: str
    amount: int
    ready_on: date
    code: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Promise:
    """The day on which all bars of a line can be there, and where they come from.

    `on` is None where some cannot be promised; `reason` then says what is in the way, else what
    new bars wait for and by how much the day is later than wanted.
    """

    on: date | None
    parts: tuple[PromisePart, ...]
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bench:
    """Products with their plans (or why they have none), batches under way, days in the mold."""

    on: date
    products: Mapping[int, Product]
    plans: Mapping[int, Plan]
    refused: Mapping[int, str]
    under_way: Sequence[BatchUnderWay]
    in_mold: Mapping[int, int]

    def days_in_mold(self, formula: int) -> int:
        return self.in_mold.get(formula, USUAL_DAYS_IN_MOLD)


def promise(
    wanted: Sequence[Wanted], *, on: date, wanted_on: date | None = None
) -> tuple[Promise, ...]:
    """When each line's bars can be there, reckoned on a day; no bar is promised to two of them.

    Bars that orders hold, or that are to come to them, are not free; other open quotes hold none.
    Fourteen queries for any number of lines, and two more for each level of what is made here.
    Raises NotFound for a product that is not there.
    """
    if not wanted:
        return ()
    bench = _bench({line.product_id for line in wanted}, on=on)
    materials = {m.pk: m for plan in bench.plans.values() for m in plan.materials.values()}
    workshop = Workshop(since=on, shelf=_shelf(first_days(materials.values(), on=on)))
    ready = ready_days([_started(batch, bench) for batch in bench.under_way], workshop)
    free = _free(bench, ready)
    found = promise_bars(
        [
            Asked(pool=_pool(bench.products[line.product_id]), amount=line.quantity)
            for line in wanted
        ],
        free=free,
        ways=_ways(bench),
        workshop=workshop,
    )
    return tuple(
        _promise(each, bench.refused.get(line.product_id, ""), wanted_on)
        for line, each in zip(wanted, found, strict=True)
    )


def _bench(product_ids: set[int], *, on: date) -> _Bench:
    rows = Product.objects.filter(pk__in=product_ids).select_related("formula", "mold")
    products = {row.pk: row for row in rows}
    for pk in product_ids - products.keys():
        raise NotFound(f"There is no product with the id {pk}.", field="product")
    loaded = current_versions({row.formula_id for row in products.values()})
    plans: dict[int, Plan] = {}
    refused: dict[int, str] = {}
    for pk, row in products.items():
        if row.formula_id not in loaded:
            refused[pk] = f"the recipe {row.formula.name} has no version yet"
            continue
        try:
            plans[pk] = make_plan(loaded[row.formula_id], Wish(mold=row.mold))
        except Refusal as refusal:
            refused[pk] = f"no new batch can be planned: {refusal}"
    pools = {_pool(row) for row in products.values()}
    under_way = batches_under_way(products=pools, molds={row.mold_id for row in products.values()})
    formulas = {row.formula_id for row in products.values()} | {each.formula for each in under_way}
    return _Bench(
        on=on,
        products=products,
        plans=plans,
        refused=refused,
        under_way=under_way,
        in_mold=days_in_mold(formulas),
    )


def _pool(product: Product) -> int:
    """The material that a product's bars are: two products may be the same bar."""
    pool: int = product.formula.product_id
    return pool


def _shelf(days: FirstDays) -> Any:
    def shelf(needs: Mapping[int, int], of: Iterable[int]) -> ShelfDay:
        try:
            first, waits_for = days.first_day(needs, tuple(of))
        except Refusal as refusal:
            return ShelfDay(on=None, waits_for=str(refusal))
        missing = first is None
        return ShelfDay(on=first, waits_for=f"nothing brings {waits_for}" if missing else waits_for)

    return shelf


def _started(batch: BatchUnderWay, bench: _Bench) -> Started:
    return Started(
        id=batch.id,
        mold=batch.mold,
        start=batch.started_on,
        days_in_mold=bench.days_in_mold(batch.formula),
        days_to_cure=batch.cure_days,
        ready_on=batch.ready_on,
        is_poured=batch.poured,
        is_cut=batch.is_cut,
    )


def _free(bench: _Bench, ready: Mapping[int, date]) -> dict[int, list[Bars]]:
    """Free bars by material: of lots and batches, less what is to come to open orders."""
    pools = {_pool(row) for row in bench.products.values()}
    claims, owed = _claims(pools)
    free: dict[int, list[Bars]] = defaultdict(list)
    for lot in free_lots(pools, on=bench.on):
        left = lot.free - claims.pop(lot.code, 0)
        free[lot.material].append(
            Bars(kind=Origin.CURED, amount=max(left, 0), ready_on=bench.on, code=lot.code)
        )
    for batch in bench.under_way:
        kind = Origin.CURING if batch.is_cut else Origin.PLANNED
        left = batch.bars - claims.pop(batch.code, 0)
        free[batch.product].append(
            Bars(kind=kind, amount=max(left, 0), ready_on=ready[batch.id], code=batch.code)
        )
    return {pool: less(free[pool], owed.get(pool, 0)) for pool in pools}


def _claims(pools: set[int]) -> tuple[dict[str, int], dict[int, int]]:
    """What open orders wait for: of single batches, by code; and of no batch, by material.

    An order's claim on batches ends with what it still requires. A batch's bars are a lot of its
    code.
    """
    rows = (
        SalesOrderBatch.objects.filter(
            line__order__state="open", line__product__formula__product__in=pools
        )
        .select_related("line__order", "line__product__formula", "batch")
        .order_by("id")
    )
    batches: dict[tuple[str, int], list[tuple[str, int]]] = defaultdict(list)
    for row in rows:
        key = (row.line.order.holder, _pool(row.line.product))
        batches[key].append((row.batch.code, row.bars))
    claims: dict[str, int] = defaultdict(int)
    owed: dict[int, int] = defaultdict(int)
    for each in owed_of(pools):
        left = each.amount
        for code, bars in batches.get((each.holder, each.material), ()):
            part = min(left, bars)
            claims[code] += part
            left -= part
        owed[each.material] += left
    return claims, owed


def _ways(bench: _Bench) -> dict[int, list[Way]]:
    ways: dict[int, list[Way]] = defaultdict(list)
    for pk, plan in bench.plans.items():
        product = bench.products[pk]
        if plan.bars:
            ways[_pool(product)].append(
                Way(
                    mold=product.mold_id,
                    code=product.mold.code,
                    bars=plan.bars,
                    needs=plan.needs,
                    days_in_mold=bench.days_in_mold(product.formula_id),
                    days_to_cure=plan.loaded.version.cure_days,
                )
            )
    return ways


def _promise(found: Found, refused: str, wanted_on: date | None) -> Promise:
    parts = tuple(
        PromisePart(
            kind=part.kind.value, amount=part.amount, ready_on=part.ready_on, code=part.code
        )
        for part in found.parts
    )
    return Promise(on=found.on, parts=parts, reason=_reason(found, refused, wanted_on))


def _reason(found: Found, refused: str, wanted_on: date | None) -> str:
    if found.short:
        why = refused or found.waits_for
        return f"{found.short} bars cannot be promised{f': {why}' if why else ''}."
    told = []
    if found.waits_for:
        told.append(f"New batches wait for {found.waits_for}.")
    if found.on is not None and wanted_on is not None and found.on > wanted_on:
        late = (found.on - wanted_on).days
        told.append(f"{how_many(late, 'day')} later than wanted.")
    return " ".join(told)
