"""The price list: whole ladders, history, floors and the owner's word."""

from datetime import timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from django.db import IntegrityError, transaction

from costing.domain.quotes.quoting import taxed
from costing.domain.rates.rates import ALWAYS
from costing.errors import PriceRefusal, PriceTaken, PriceUnderFloor
from costing.models.prices.prices import PriceEntry
from costing.models.rates.rates import Fee, Rate
from costing.queries.bar_cost.product_costs import product_costs
from costing.queries.prices.price_ladder import RungState, price_ladder, suggested_prices
from costing.queries.prices.prices import floors, list_prices, price_for, restoring_for
from costing.services.prices.prices import PriceDescription, change_price, set_prices
from inventory.models.stock.lots import Lot
from studio.foundation.errors import NotFound
from tests.costing.making import cured, make_rate, make_rates
from tests.costing.priced import a_shelf, floor_of, offered, priced
from tests.costing.selling import a_product, a_tier
from tests.inventory.buying import faults_of
from tests.inventory.making import TODAY
from tests.recipes.making import make_bench, stock
from tests.studio.web.api.people import person
from tests.threads import at_once

CENT = 100
DAY = timedelta(days=1)
LATER = TODAY + 60 * DAY


@pytest.fixture
def shelf(database):
    return a_shelf()


def ladder(product, tier, on=TODAY):
    found = list_prices([(product.pk, tier.pk)], on=on)[product.pk, tier.pk]
    return {entry.from_quantity: entry.price for entry in found}


def test_a_price_holds_from_its_day_and_the_one_before_stays_as_history(shelf):
    product, tier, _ = shelf
    floor = floor_of(product, tier)
    old = priced(product, tier, floor)
    priced(product, tier, floor + 500, effective_from=TODAY + 10 * DAY)
    assert ladder(product, tier, TODAY - DAY) == {}
    assert ladder(product, tier, TODAY + 9 * DAY) == {1: floor}
    assert ladder(product, tier, TODAY + 10 * DAY) == {1: floor + 500}
    old.refresh_from_db()
    assert (old.price, old.ended_on) == (floor, None)


def test_the_price_of_a_quantity_is_that_of_the_rung_it_reaches(shelf):
    product, tier, _ = shelf
    floor = floor_of(product, tier)
    set_prices(
        [
            PriceDescription(
                product=product.code,
                tier=tier.code,
                from_quantity=start,
                price=floor + more,
                effective_from=TODAY,
            )
            for start, more in ((12, 1000), (48, 500), (144, 0))
        ]
    )
    found = list_prices([(product.pk, tier.pk)], on=TODAY)[product.pk, tier.pk]
    prices = [price_for(found, quantity) for quantity in (11, 12, 47, 48, 1000)]
    assert [each and each.price for each in prices] == [
        None,
        floor + 1000,
        floor + 1000,
        floor + 500,
        floor,
    ]


def test_more_never_costs_more_and_no_tier_is_dearer_than_one_before_it(shelf):
    product, tier, _ = shelf
    direct = a_tier("direct", position=0)
    tier.position = 1
    tier.save()
    base = floor_of(product, tier)
    priced(product, direct, base + 1000)
    priced(product, tier, base + 500, from_quantity=10)
    for values in (
        {"tier": tier, "price": base + 600, "from_quantity": 20},
        {"tier": tier, "price": base + 1100},
        {"tier": direct, "price": base + 400, "from_quantity": 50},
    ):
        with pytest.raises(PriceRefusal) as refused:
            priced(product, **values)
        assert product.name in str(refused.value)
    assert PriceEntry.objects.count() == 2


def test_a_price_to_come_is_checked_with_all_that_holds_by_then(shelf):
    product, tier, _ = shelf
    base = floor_of(product, tier)
    priced(product, tier, base + 1000)
    priced(product, tier, base, effective_from=TODAY + 20 * DAY)
    with pytest.raises(PriceRefusal, match="larger quantity"):
        priced(product, tier, base + 500, from_quantity=48)
    priced(product, tier, base + 500, from_quantity=48, ended_on=TODAY + 20 * DAY)
    assert ladder(product, tier, TODAY + 19 * DAY) == {1: base + 1000, 48: base + 500}
    assert ladder(product, tier, TODAY + 20 * DAY) == {1: base}


def test_a_whole_ladder_is_kept_together_or_not_at_all(shelf):
    product, tier, _ = shelf
    floor = floor_of(product, tier)
    described = [
        PriceDescription(product="nothing", tier=tier.code, price=1, effective_from=TODAY),
        PriceDescription(product=product.code, tier="none", price=1, effective_from=TODAY),
        PriceDescription(
            product=product.code, tier=tier.code, price=floor + 1, effective_from=TODAY
        ),
    ]
    with pytest.raises(PriceRefusal) as refused:
        set_prices(described)
    assert faults_of(refused) == {
        ("not-found", "entries.0.product"),
        ("not-found", "entries.1.tier"),
        ("not-in-coins", "entries.2.price"),
    }
    assert not PriceEntry.objects.exists()


def test_under_the_floor_only_an_owner_who_says_why(shelf):
    product, tier, _ = shelf
    low = floor_of(product, tier) - 500
    for reason, by in (
        ("", None),
        ("Opening week", None),
        ("  ", person("owner")),
        ("Opening week", person("maker", see_costs=True)),
    ):
        with pytest.raises(PriceUnderFloor) as refused:
            priced(product, tier, low, override_reason=reason, by=by)
        assert "under the floor of" in str(refused.value)
    owner = person("owner")
    entry = priced(product, tier, low, override_reason="Opening week", by=owner)
    assert (entry.override_reason, entry.override_by, entry.override_floor) == (
        "Opening week",
        owner,
        low + 500,
    )
    history = PriceEntry.history.get()
    assert (history.override_reason, history.history_user) == ("Opening week", owner)


def test_a_floor_of_its_own_holds_alone(shelf):
    product, tier, _ = shelf
    floor = floor_of(product, tier)
    priced(product, tier, floor - 500, floor=floor - 1000)
    found = floors([product.pk], [tier.pk], on=TODAY)[product.pk, tier.pk]
    assert (found.price, found.basis, found.explicit) == (floor - 1000, "own", True)
    with pytest.raises(PriceUnderFloor):
        priced(product, tier, floor - 500, floor=floor, from_quantity=12)
    assert found.at(1_000) == floor - 1000


def test_a_price_is_corrected_until_it_was_in_force_a_day(shelf):
    product, tier, _ = shelf
    floor = floor_of(product, tier)
    entry = priced(product, tier, floor)

    def change(on, **values):
        kept = {"price": entry.price, "floor": None, "ended_on": None}
        return change_price(entry.pk, on=on, **{**kept, **values})

    assert change(TODAY, price=floor + 500).revision == 2
    entry.refresh_from_db()
    with pytest.raises(PriceTaken, match="set a new one"):
        change(TODAY + DAY, price=floor + 1000)
    with pytest.raises(PriceTaken, match="to come"):
        change(TODAY + 2 * DAY, ended_on=TODAY + DAY)
    with pytest.raises(PriceUnderFloor):
        change(TODAY, price=floor - 500)
    change(TODAY + DAY, ended_on=TODAY + 5 * DAY)
    assert ladder(product, tier, TODAY + 4 * DAY) == {1: floor + 500}
    assert ladder(product, tier, TODAY + 5 * DAY) == {}
    assert PriceEntry.history.count() == 3
    with pytest.raises(NotFound):
        change_price(0, on=TODAY, price=1, floor=None, ended_on=None)


def test_a_day_has_one_price(shelf):
    product, tier, _ = shelf
    floor = floor_of(product, tier)
    entry = priced(product, tier, floor)
    with pytest.raises(PriceTaken):
        priced(product, tier, floor + 500)
    entry.pk = None
    with pytest.raises(IntegrityError), transaction.atomic():
        PriceEntry.objects.bulk_create([entry])


def test_two_who_raise_a_ladder_at_once_never_leave_it_upside_down(shelf):
    product, tier, _ = shelf
    floor = floor_of(product, tier)

    def attempt(given):
        start, price = given
        return priced(product, tier, price, from_quantity=start)

    kept = at_once(attempt, [(1, floor), (48, floor + 500)])
    assert sorted(isinstance(each, PriceRefusal) for each in kept) == [False, True]
    assert len(ladder(product, tier)) == 1


def test_a_fixed_fee_is_shared_by_the_bars_of_the_sale_and_a_share_by_the_price(shelf):
    product, tier, _ = shelf
    bare = floor_of(product, tier, 48)
    Fee.objects.create(
        code="card",
        name="Card",
        tier=tier,
        share=Decimal("0.03"),
        fixed_per_sale=4_800,
        effective_from=TODAY,
    )
    found = floors([product.pk], [tier.pk], on=TODAY)[product.pk, tier.pk]
    one, many = found.at(1), found.at(48)
    assert bare < many < one
    cost = found.cost
    for price, quantity in ((one, 1), (many, 48)):
        left = Decimal(price) * Decimal("0.97") - Decimal(4_800) / quantity - cost
        assert left / price >= tier.floor_margin
        assert (left - Decimal("0.97") * 500) / (price - 500) < tier.floor_margin


def test_where_tax_is_in_the_price_the_floor_has_it_too(shelf):
    product, tier, _ = shelf
    shop = a_tier("shop", step=500, tax_share=Decimal("0.19"), tax_included=True)
    with_tax = floor_of(product, shop)
    found = taxed(with_tax, tax_share=shop.tax_share, tax_included=True, unit=1)
    cost = floors([product.pk], [tier.pk], on=TODAY)[product.pk, tier.pk].cost
    assert found.without_tax >= cost / (1 - shop.floor_margin)
    assert with_tax % 500 == 0


def test_what_cannot_be_priced_says_why(shelf):
    product, tier, offers = shelf
    offers["olive"].active = False
    offers["olive"].save()
    found = floors([product.pk], [tier.pk], on=TODAY)[product.pk, tier.pk]
    assert (found.price, found.cost, found.basis, found.at(5)) == (None, None, "", None)
    assert (found.by_cost(5), found.wanted(5)) == (None, None)
    assert "Olive" in found.note
    least = found.at_least(1)
    with pytest.raises(PriceUnderFloor, match="not known, but at least"):
        priced(product, tier, least - CENT)
    assert priced(product, tier, least).price == least


@pytest.mark.parametrize("kind", ALWAYS)
def test_without_a_rate_nothing_is_suggested_rather_than_too_little(shelf, kind):
    product, tier, _ = shelf
    known = floor_of(product, tier)
    listed = priced(product, tier, known)
    Rate.objects.filter(kind=kind).delete()
    view = price_ladder(product.code, on=TODAY)
    [rung] = view.tiers[0].rungs
    assert (rung.floor, rung.wanted, rung.state) == (None, None, RungState.NO_COST)
    assert (rung.replacement.cost, rung.replacement.margin) == (None, None)
    assert rung.floor_at_least == known  # labor and overhead had cost nothing
    [suggested] = suggested_prices(product.code, on=TODAY)
    assert (suggested.price, suggested.floor, suggested.listed) == (None, None, listed.price)
    assert kind.value.replace("_", " ") in suggested.note
    assert restoring_for(product, tier, quantity=1, own_floor=None, on=TODAY) is None
    make_rate(kind, 0)
    assert floor_of(product, tier) == known


def test_bars_in_stock_whose_labor_is_not_known_give_no_floor(database):
    bench = make_bench()
    stock(bench)
    offered(bench)
    cured(bench)
    make_rates(since=TODAY + timedelta(days=1))
    product, tier = a_product(bench), a_tier(step=500)
    cost = product_costs([product.pk], on=LATER)[product.pk]
    lot = Lot.objects.get(material=bench.formula.product)
    assert cost.replacement is not None and not cost.known
    assert (cost.actual, cost.actual_at_least) == (None, round(Fraction(lot.cost, lot.on_hand)))
    found = floors([product.pk], [tier.pk], on=LATER)[product.pk, tier.pk]
    assert found.price is None and "bars in stock" in found.note
    assert found.cost_at_least == cost.replacement > cost.actual_at_least
