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
from costing.queries.bar_cost.product_costs import product_costs
from costing.queries.rates.rates import fees_of
from inventory.models.catalog.suppliers import Offer, Supplier
from inventory.models.stock.lots import Lot
from tests.costing.making import UNIT, cured, cut, make_rates
from tests.inventory.making import KG, TODAY, make_material
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
    assert cost.replacement is None and any("No supplier offers" in note for note in cost.notes)


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
    assert len(first) == len(second) <= 13


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
