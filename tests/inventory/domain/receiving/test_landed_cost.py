"""Landed cost: nothing lost in spreading charges, and textbook allocations."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.domain.receiving.landed_cost import Basis, Charge, ChargeKind, DeliveryLine, allocate
from inventory.errors import ChargesNotAllocated

UNIT = 10_000
LB_NG = 453_592_370_000

prices = st.lists(st.integers(1, 10**9), min_size=1, max_size=12)
bases = st.sampled_from(Basis)


def lines_of(values):
    return [
        DeliveryLine(name=f"line {index}", price=price, weight_ng=10**12 * (index + 1))
        for index, price in enumerate(values)
    ]


def discount(amount, basis=Basis.VALUE):
    return Charge(kind=ChargeKind.DISCOUNT, amount=-amount, basis=basis)


def freight(amount, basis=Basis.VALUE):
    return Charge(kind=ChargeKind.FREIGHT, amount=amount, basis=basis)


charges = st.lists(
    st.builds(
        Charge,
        kind=st.sampled_from([ChargeKind.FREIGHT, ChargeKind.DUTY, ChargeKind.OTHER]),
        amount=st.integers(0, 10**8),
        basis=bases,
    ),
    max_size=5,
)


@given(values=prices, extra=charges, part=st.fractions(0, 1))
def test_the_landed_costs_add_up_to_what_is_paid(values, extra, part):
    off = discount(int(sum(values) * part))
    landed = allocate(lines_of(values), [*extra, off])
    paid = sum(values) + sum(charge.amount for charge in (*extra, off))
    assert sum(line.cost for line in landed) == paid
    assert all(line.cost >= 0 for line in landed)


@given(values=prices, offs=st.lists(st.integers(1, 10**6), min_size=1, max_size=6))
def test_many_small_discounts_never_take_a_line_below_zero(values, offs):
    kept = []
    for off in offs:
        if sum(kept) + off <= sum(values):
            kept.append(off)
    landed = allocate(lines_of(values), [discount(off) for off in kept])
    assert all(0 <= line.cost <= line.price for line in landed)


@given(values=prices, amount=st.integers(0, 10**9))
def test_a_charge_by_value_is_in_proportion_to_within_one_unit(values, amount):
    landed = allocate(lines_of(values), [freight(amount)])
    for price, line in zip(values, landed, strict=True):
        assert abs(line.by_value * sum(values) - amount * price) < sum(values)


@given(values=prices)
def test_without_charges_the_landed_cost_is_the_price(values):
    assert [line.cost for line in allocate(lines_of(values), [])] == values


def test_shipping_discount_and_other_cost_by_value():
    """An accounting question bank, landed cost question 112970.

    X 20 at 20 and Y 20 at 5, shipping 40, discount 80, at 4.5 to the local currency, and 230 of
    other direct cost in it: X lands at 1,840 and Y at 460.
    """
    local = 45_000
    landed = allocate(
        [DeliveryLine(name="X", price=400 * local), DeliveryLine(name="Y", price=100 * local)],
        [
            freight(40 * local),
            discount(80 * local),
            Charge(kind=ChargeKind.OTHER, amount=230 * UNIT),
        ],
    )
    assert [line.cost for line in landed] == [1840 * UNIT, 460 * UNIT]


def test_freight_by_cost_and_by_weight():
    """A cost accounting textbook on freight in: 48 of freight on materials of 600 is 8 percent.

    By weight, an item of 300 lb among 1,700 lb bears 8.47.
    """
    lines = [
        DeliveryLine(name="item", price=150 * UNIT, weight_ng=300 * LB_NG),
        DeliveryLine(name="rest", price=450 * UNIT, weight_ng=1400 * LB_NG),
    ]
    by_value = allocate(lines, [freight(48 * UNIT)])
    assert [line.by_value for line in by_value] == [12 * UNIT, 36 * UNIT]
    assert all(line.by_value * 100 == 8 * line.price for line in by_value)
    by_weight = allocate(lines, [freight(48 * UNIT, Basis.WEIGHT)])
    assert by_weight[0].by_weight / UNIT == pytest.approx(8.47, abs=0.005)


def test_a_discount_taken_lowers_the_cost_of_the_goods():
    """OpenStax, Principles of Accounting 1, 6.3: 500 less 150 returned, 2 percent off: 343.

    So does IAS 2 paragraph 11: trade discounts are deducted from the costs of purchase.
    """
    kept = (500 - 150) * UNIT
    (line,) = allocate([DeliveryLine(name="goods", price=kept)], [discount(kept * 2 // 100)])
    assert line.cost == 343 * UNIT


def refused(lines, given_charges):
    with pytest.raises(ChargesNotAllocated) as refusal:
        allocate(lines, given_charges)
    return [(fault.code, fault.field) for fault in refusal.value.faults]


def test_a_discount_above_the_value_is_refused_whatever_the_freight():
    lines = lines_of([UNIT, UNIT])
    assert refused(lines, [freight(9 * UNIT), discount(2 * UNIT + 1)]) == [
        ("discount-above-value", "charges")
    ]


def test_a_counted_line_without_a_weight_is_named():
    lines = [
        DeliveryLine(name="Shea butter", price=UNIT, weight_ng=LB_NG),
        DeliveryLine(name="Bar boxes", price=UNIT),
    ]
    assert refused(lines, [freight(UNIT, Basis.WEIGHT)]) == [("weight-missing", "lines.1.weight")]
    with pytest.raises(ChargesNotAllocated, match="Bar boxes"):
        allocate(lines, [freight(UNIT, Basis.WEIGHT)])


def test_all_faults_are_told_at_once():
    lines = [
        DeliveryLine(name="a", price=-1),
        DeliveryLine(name="b", price=1, weight_ng=0),
    ]
    wrong = [
        Charge(kind=ChargeKind.DISCOUNT, amount=5),
        Charge(kind=ChargeKind.DUTY, amount=-5),
    ]
    assert refused(lines, wrong) == [
        ("price-below-zero", "lines.0.price"),
        ("weight-not-positive", "lines.1.weight"),
        ("discount-above-zero", "charges.0.amount"),
        ("charge-below-zero", "charges.1.amount"),
    ]


def test_free_goods_give_nothing_to_spread_by_value():
    lines = [DeliveryLine(name="sample", price=0, weight_ng=LB_NG)]
    assert refused(lines, [freight(1)]) == [("nothing-to-spread-by", "charges")]
    (line,) = allocate(lines, [freight(7, Basis.WEIGHT)])
    assert line.cost == 7


def test_a_discount_by_weight_may_not_take_a_line_below_zero():
    lines = [
        DeliveryLine(name="cheap", price=1, weight_ng=9 * LB_NG),
        DeliveryLine(name="dear", price=99, weight_ng=LB_NG),
    ]
    assert refused(lines, [discount(50, Basis.WEIGHT)]) == [("cost-below-zero", "lines.0")]


def test_a_delivery_without_lines_is_refused():
    assert refused([], []) == [("no-lines", "lines")]
