"""What a bar of each product costs, on both databases. Prices are invented."""

from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from costing.models.bar_cost.packaging import PackagingEdition, PackagingPiece, PackagingSet
from costing.models.prices.prices import Product
from costing.models.rates.rates import Fee
from costing.queries.bar_cost.plans import costs_of_plan
from costing.queries.bar_cost.price_basis import PriceBasis
from costing.queries.bar_cost.product_costs import product_costs
from costing.queries.rates.rates import fees_of
from inventory.models.catalog.suppliers import Offer, Supplier
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import Wish, make_plan
from studio.foundation.units.registry import NG_PER_G
from tests.costing.making import UNIT, cured, cut, make_rates
from tests.inventory.making import KG, TODAY, make_lot, make_material
from tests.recipes.making import make_bench, stock

LATER = TODAY + timedelta(days=60)


@pytest.fixture
def bench(database):
    made = make_bench()
    make_rates()
    stock(made)
    return made


def offer_all(bench, *, freight=0, price=100 * UNIT, without=()):
    supplier = Supplier.objects.create(code="mill", name="The Mill", freight=freight)
    for code, material in bench.materials.items():
        if code not in without:
            Offer.objects.create(
                code=f"mill-{code}",
                supplier=supplier,
                material=material,
                pack_written="made up",
                pack_amount=100 if material.counted else 5 * KG,
                price=price,
            )


def make_product(bench, code="bar", **values):
    values.setdefault("needs_no_packing", "packaging_set" not in values)
    return Product.objects.create(
        code=code, name=code, formula=bench.formula, mold=bench.mold, **values
    )


def wrapped(per_carton=24):
    """A wrapper a bar and a carton for so many, and their materials."""
    made = PackagingSet.objects.create(code="wrap", name="Wrapped")
    edition = PackagingEdition.objects.create(
        packaging_set=made, effective_from=date(2026, 1, 1), bars_per_carton=per_carton
    )
    parts = []
    for code, per in (("wrapper", "bar"), ("carton", "carton")):
        material = make_material(code, kind="packaging", counted=True)
        PackagingPiece.objects.create(edition=edition, material=material, per=per, pieces=1)
        parts.append(material)
    return made, parts


def test_actual_is_what_the_ledger_holds(bench):
    cured(bench)
    product = make_product(bench)
    lot = Lot.objects.get(material=bench.formula.product)
    cost = product_costs([product.pk], on=LATER)[product.pk]
    assert cost.actual == round(Fraction(lot.cost, lot.on_hand))
    assert cost.replacement is not None  # at what was paid, since nobody offers anything
    assert any("the last price paid stands in" in note for note in cost.notes)


def test_what_nobody_offers_costs_what_was_last_paid_and_says_so(bench):
    """Olive: 5 kg for 5.00 each time it was bought, then 5 kg for 9.00."""
    product = make_product(bench)
    offer_all(bench, without=["olive"])
    olive = bench.materials["olive"]
    need = 484 * NG_PER_G
    before = product_costs([product.pk], on=LATER)[product.pk]
    paid = StockEntry.objects.get(lot__material=olive)
    make_lot(olive, 5 * KG, 90_000, received_on=TODAY + timedelta(days=1))
    make_lot(olive, 5 * KG, 0, received_on=TODAY + timedelta(days=2))  # a gift says nothing
    after = product_costs([product.pk], on=LATER)[product.pk]
    moved = Fraction(need * 90_000, 5 * KG) - Fraction(need * paid.cost, paid.on_hand)
    assert abs((after.replacement - before.replacement) * 8 - moved) <= 8
    assert any(f"Olive ({TODAY + timedelta(days=1)})" in note for note in after.notes)
    early = product_costs([product.pk], on=TODAY)[product.pk]
    assert early.replacement == before.replacement
    [costing] = costs_of_plan(
        make_plan(load_formula(code="plain"), Wish(mold=bench.mold)),
        on=LATER,
        bases=[PriceBasis.REPLACEMENT],
    )
    [line] = [each for each in costing.cost.lines if each.code == "olive"]
    assert line.origin == f"last paid {TODAY + timedelta(days=1)}" and line.known
    assert any("last price paid" in note for note in costing.notes)
    Offer.objects.create(
        code="mill-olive", supplier=Supplier.objects.get(), material=olive,
        pack_written="5 kg", pack_amount=5 * KG, price=90_000,
    )  # fmt: skip
    offered = product_costs([product.pk], on=LATER)[product.pk]
    assert not any("last price paid" in note for note in offered.notes)


def test_what_nobody_offers_nor_ever_bought_is_not_known(db):
    bench = make_bench()
    make_rates()
    offer_all(bench, without=["olive"])
    cost = product_costs([make_product(bench).pk], on=LATER).popitem()[1]
    assert cost.replacement is None and cost.replacement_at_least > 0
    assert any("none was ever bought: Olive" in note for note in cost.notes)


def test_curing_bars_count_with_what_is_still_to_come(bench):
    cut(bench)
    product = make_product(bench)
    lot = Lot.objects.get(material=bench.formula.product)
    cost = product_costs([product.pk], on=LATER)[product.pk]
    # The version's 90 minutes at 24.00 and 3.00, and 5.00 a batch.
    expected = lot.cost + (36 + 5) * UNIT + 45_000
    assert cost.actual == round(Fraction(expected, 8))


def test_freight_and_packing_are_in_the_replacement(bench):
    offer_all(bench)
    made, (wrapper, carton) = wrapped()
    plain, packed = make_product(bench), make_product(bench, "packed", packaging_set=made)
    for material, price in ((wrapper, 10 * UNIT), (carton, 240 * UNIT)):
        Offer.objects.create(
            code=f"mill-{material.code}",
            supplier=Supplier.objects.get(),
            material=material,
            pack_written="made up",
            pack_amount=100,
            price=price,
        )
    costs = product_costs([plain.pk, packed.pk], on=LATER)
    assert costs[packed.pk].packing == 10 * UNIT // 100 + 240 * UNIT // 100 // 24
    assert costs[plain.pk].packing == 0
    assert costs[packed.pk].replacement - costs[plain.pk].replacement == costs[packed.pk].packing
    Supplier.objects.update(freight=50 * UNIT)
    dearer = product_costs([plain.pk], on=LATER)[plain.pk].replacement
    assert dearer > costs[plain.pk].replacement


def test_a_larger_quantity_reaches_the_price_breaks(bench):
    offer_all(bench)
    product = make_product(bench)
    Offer.objects.update(price_breaks=[[2, 50 * UNIT]])
    one = product_costs([product.pk], on=LATER)[product.pk].replacement
    many = product_costs([product.pk], on=LATER, quantities={product.pk: 800})[product.pk]
    assert many.replacement < one


def test_the_queries_do_not_grow_with_the_products(bench):
    cured(bench)
    cut(bench)
    offer_all(bench)
    made, _ = wrapped()
    few = [make_product(bench, f"bar-{n}", packaging_set=made).pk for n in range(2)]
    with CaptureQueriesContext(
        connection,
    ) as first:
        product_costs(few, on=LATER)
    many = few + [make_product(bench, f"more-{n}", packaging_set=made).pk for n in range(10)]
    with CaptureQueriesContext(connection) as second:
        assert len(product_costs(many, on=LATER)) == 12
    assert len(first) == len(second) <= 16


def test_fees_of_a_tier_go_before_those_for_all(db):
    Fee.objects.create(
        code="card", name="Card", share=Decimal("0.03"), fixed_per_sale=3000,
        effective_from=date(2026, 1, 1),
    )  # fmt: skip
    Fee.objects.create(
        code="market", name="Market", share=Decimal("0.1"), effective_from=date(2026, 2, 1)
    )
    assert fees_of(None, date(2026, 1, 31)).share == Decimal("0.03")
    found = fees_of(None, LATER)
    assert (found.share, found.fixed_per_sale) == (Decimal("0.13"), 3000)
    assert found.of(10 * UNIT) == 13_000 + 3000
