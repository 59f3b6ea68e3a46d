"""What needs cost to buy today, with freight and price breaks: laws, then figures by hand."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from costing.domain.bar_cost.packing import Packing, Piece
from costing.domain.bar_cost.replacement import OfferTerms, SupplierTerms, purchases_for
from costing.errors import CostNotKnown
from inventory.domain.catalog.packs import PriceBreak

UNIT = 10_000
suppliers = st.builds(
    SupplierTerms,
    id=st.integers(1, 3),
    freight=st.integers(0, 10**6),
    free_freight_from=st.none() | st.integers(0, 10**7),
)


@st.composite
def shelves(draw):
    """Needs by material, and the offers of up to three suppliers with the same terms."""
    by_id = {each.id: each for each in draw(st.lists(suppliers, min_size=1, max_size=3))}
    terms = list(by_id.values())
    needs = draw(st.dictionaries(st.integers(1, 4), st.integers(0, 10**6), min_size=1))
    numbers = iter(range(1, 100))
    offers = {
        material: [
            OfferTerms(
                id=next(numbers),
                code="an-offer",
                supplier=draw(st.sampled_from(terms)),
                pack_amount=draw(st.integers(1, 10**5)),
                price=draw(st.integers(0, 10**6)),
                minimum_packs=draw(st.integers(1, 5)),
            )
            for _ in range(draw(st.integers(0, 3)))
        ]
        for material in needs
    }
    return needs, offers


@given(shelf=shelves())
def test_every_need_is_bought_or_named_and_freight_is_charged_once_an_order(shelf):
    needs, offers = shelf
    found = purchases_for(needs, offers)
    wanted = {pk for pk, need in needs.items() if need}
    assert found.lines.keys() | set(found.missing) == wanted
    orders = {}
    for line in found.lines.values():
        assert line.ordered >= line.need
        assert 0 <= line.cost <= line.goods + line.freight
        orders.setdefault(line.offer.supplier.id, []).append(line)
    for lines in orders.values():
        goods = sum(line.goods for line in lines)
        supplier = lines[0].offer.supplier
        assert sum(line.freight for line in lines) == supplier.freight_of(goods)


def landed(offer, need, needs, offers):
    """Price per unit with freight, as the rules say it: in fractions, every part reckoned anew."""
    order = offer.order_for(need)
    worth = 0
    for pk, wanted in needs.items():
        rivals = [each for each in offers[pk] if each.supplier.id == offer.supplier.id]
        worth += min((each.order_for(wanted).goods for each in rivals), default=0) if wanted else 0
    freight = Fraction(offer.supplier.freight_of(worth), worth) if worth else 0
    return (Fraction(order.goods, order.amount) * (1 + freight), order.goods, offer.id)


@given(shelf=shelves())
def test_the_cheapest_offer_with_its_freight_is_taken_and_a_need_bears_its_part(shelf):
    needs, offers = shelf
    for pk, line in purchases_for(needs, offers).lines.items():
        best = min(offers[pk], key=lambda each: landed(each, needs[pk], needs, offers))
        assert line.offer is best
        assert line.packs == max(best.minimum_packs, -(-needs[pk] // best.pack_amount))
        assert line.goods == line.packs * best.price
        whole = (line.goods + line.freight) * needs[pk]
        assert line.cost == round(Fraction(whole, line.packs * best.pack_amount))


def offer(pk=1, *, supplier=None, **terms):
    values = {"pack_amount": 1000, "price": 10 * UNIT, **terms}
    terms_of = supplier or SupplierTerms(id=1)
    return OfferTerms(id=pk, code=f"o-{pk}", supplier=terms_of, **values)


def test_a_need_bears_its_part_of_the_freight_of_what_is_ordered():
    mill = SupplierTerms(id=1, freight=6 * UNIT)
    found = purchases_for(
        {1: 500, 2: 2000},
        {1: [offer(1, supplier=mill)], 2: [offer(2, supplier=mill)]},
    )
    # Three packs of 10.00 and 6.00 of freight: 2.00 a pack. Half a pack is 6.00, two are 24.00.
    assert [line.cost for line in found.lines.values()] == [6 * UNIT, 24 * UNIT]
    assert [line.freight_part for line in found.lines.values()] == [UNIT, 4 * UNIT]


def test_freight_decides_between_suppliers():
    cheap_far = offer(1, supplier=SupplierTerms(id=1, freight=30 * UNIT), price=9 * UNIT)
    near = offer(2, supplier=SupplierTerms(id=2))
    assert purchases_for({1: 1000}, {1: [cheap_far, near]}).lines[1].offer is near
    free = offer(
        1, supplier=SupplierTerms(id=1, freight=30 * UNIT, free_freight_from=90 * UNIT),
        price=9 * UNIT,
    )  # fmt: skip
    assert purchases_for({1: 10_000}, {1: [free, near]}).lines[1].offer is free


def test_price_breaks_hold_for_the_packs_that_are_ordered():
    broken = offer(breaks=(PriceBreak(3, 8 * UNIT),))
    assert purchases_for({1: 2000}, {1: [broken]}).lines[1].cost == 20 * UNIT
    assert purchases_for({1: 3000}, {1: [broken]}).lines[1].cost == 24 * UNIT
    part = purchases_for({1: 2500}, {1: [broken]}).lines[1]
    assert (part.packs, part.cost) == (3, round(Fraction(24 * UNIT * 2500, 3000)))


def test_what_makes_no_sense_is_refused():
    with pytest.raises(CostNotKnown):
        purchases_for({1: -1}, {})
    with pytest.raises(CostNotKnown):
        purchases_for({1: 1}, {1: [offer(pack_amount=0)]})


@given(bars=st.integers(0, 1000), per=st.integers(1, 48), pieces=st.integers(1, 3))
def test_packing_takes_pieces_by_the_bar_and_whole_cartons(bars, per, pieces):
    packing = Packing(
        bars_per_carton=per,
        pieces=(Piece(material=1, pieces=pieces), Piece(material=2, pieces=1, per_carton=True)),
    )
    needs = packing.needs(bars)
    assert needs[1] == bars * pieces
    assert needs[2] == -(-bars // per)
