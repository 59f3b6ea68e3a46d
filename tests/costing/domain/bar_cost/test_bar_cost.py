"""Cost of a batch and of a bar: laws first, then textbook examples."""

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from costing.domain.bar_cost.bar_cost import BatchCost, CostKind, CostLine, bar_cost, batch_cost
from costing.domain.rates.rates import Rates
from costing.errors import CostNotKnown

UNIT = 10_000
FREE = Rates(labor_per_hour=0, overhead_per_batch=0, overhead_per_labor_hour=0)


def material(cost, kind=CostKind.MATERIAL):
    return CostLine(kind=kind, code="m", name="a material", cost=cost)


line_costs = st.lists(st.integers(0, 10**8).map(material), max_size=10)
rate_sets = st.builds(
    Rates,
    labor_per_hour=st.integers(0, 10**6),
    overhead_per_batch=st.integers(0, 10**6),
    overhead_per_labor_hour=st.integers(0, 10**6),
)


@st.composite
def batches(draw):
    parts = {
        "materials": draw(line_costs),
        "packaging": draw(line_costs),
        "labor_minutes": draw(st.integers(0, 600)),
        "rates": draw(rate_sets),
    }
    gross = batch_cost(**parts)
    return batch_cost(**parts, recovered=draw(st.integers(0, gross.total)))


@given(
    materials=line_costs,
    packaging=line_costs,
    minutes=st.integers(0, 600),
    rates=rate_sets,
    part=st.fractions(0, 1),
)
def test_a_batch_costs_the_sum_of_what_went_into_it(materials, packaging, minutes, rates, part):
    put_in = sum(line.cost for line in (*materials, *packaging))
    recovered = int(put_in * part)
    batch = batch_cost(
        materials=materials,
        packaging=packaging,
        labor_minutes=minutes,
        rates=rates,
        recovered=recovered,
    )
    assert batch.total == (
        put_in + batch.of(CostKind.LABOR) + batch.of(CostKind.OVERHEAD) - recovered
    )
    assert abs(batch.of(CostKind.LABOR) - Fraction(rates.labor_per_hour * minutes, 60)) <= 0.5


@given(
    batch=batches(),
    good=st.integers(1, 300),
    normal=st.integers(0, 50),
    abnormal=st.integers(0, 50),
)
def test_good_bars_and_the_loss_bear_all_of_the_cost(batch, good, normal, abnormal):
    cost = bar_cost(batch, good_bars=good, normal_rejects=normal, abnormal_rejects=abnormal)
    assert cost.cost_of_good + cost.abnormal_loss == batch.total
    assert cost.exact * good == cost.cost_of_good
    assert abs(cost.per_bar - cost.exact) <= Fraction(1, 2)
    assert 0 <= cost.abnormal_loss <= batch.total


@given(
    batch=batches(),
    good=st.integers(1, 300),
    normal=st.integers(0, 50),
    abnormal=st.integers(0, 50),
)
def test_the_lines_of_a_bar_add_up_to_its_cost(batch, good, normal, abnormal):
    cost = bar_cost(batch, good_bars=good, normal_rejects=normal, abnormal_rejects=abnormal)
    assert tuple(bar_line.line for bar_line in cost.lines) == batch.lines
    assert sum(bar_line.per_bar for bar_line in cost.lines) == cost.per_bar
    share_of_batch = Fraction(good + normal, (good + normal + abnormal) * good)
    for bar_line in cost.lines:
        assert abs(bar_line.per_bar - bar_line.line.cost * share_of_batch) <= 2 + len(cost.lines)


@given(batch=batches(), good=st.integers(2, 300), spoiled=st.integers(1, 50))
def test_bars_that_usually_go_wrong_make_the_good_ones_dearer(batch, good, spoiled):
    usual = bar_cost(batch, good_bars=good, normal_rejects=spoiled)
    none = bar_cost(batch, good_bars=good + spoiled)
    assert usual.exact >= none.exact
    assert usual.cost_of_good == batch.total


def test_rejected_bars_do_not_need_counting_to_cost_the_good_ones_more():
    batch = BatchCost(lines=(material(120 * UNIT),))
    assert bar_cost(batch, good_bars=40).per_bar == 3 * UNIT
    assert bar_cost(batch, good_bars=40, normal_rejects=8).per_bar == 3 * UNIT


def test_a_batch_that_cost_nothing_makes_bars_for_nothing():
    batch = batch_cost(materials=[material(0)], rates=FREE)
    cost = bar_cost(batch, good_bars=7)
    assert cost.per_bar == 0
    assert [bar_line.per_bar for bar_line in cost.lines] == [0, 0, 0]


@given(
    materials=line_costs,
    rates=rate_sets,
    minutes=st.integers(1, 600),
    missing=st.sampled_from(["labor_per_hour", "overhead_per_batch", "overhead_per_labor_hour"]),
    bars=st.integers(1, 200),
)
def test_without_a_rate_a_bar_is_not_known_but_the_least_that_it_costs(
    materials, rates, minutes, missing, bars
):
    """The same with a rate of 0, which is an answer: that is the least."""
    kind = CostKind.LABOR if missing == "labor_per_hour" else CostKind.OVERHEAD
    parts = {"materials": materials, "labor_minutes": minutes}
    unknown = batch_cost(**parts, rates=replace(rates, **{missing: None}))
    free = batch_cost(**parts, rates=replace(rates, **{missing: 0}))
    assert (unknown.total, unknown.of(kind), unknown.known) == (None, None, False)
    assert unknown.of(CostKind.MATERIAL) == free.of(CostKind.MATERIAL)
    assert unknown.at_least == free.total
    bar, known = bar_cost(unknown, good_bars=bars), bar_cost(free, good_bars=bars)
    assert (bar.per_bar, bar.known) == (None, False)
    assert bar.at_least == known.per_bar
    assert [each.per_bar for each in bar.lines] == [each.per_bar for each in known.lines]


def test_without_a_good_bar_all_faults_are_told():
    with pytest.raises(CostNotKnown) as refused:
        bar_cost(
            BatchCost(lines=(material(1),)), good_bars=0, normal_rejects=-1, abnormal_rejects=-1
        )
    assert [fault.field for fault in refused.value.faults] == [
        "good_bars",
        "normal_rejects",
        "abnormal_rejects",
    ]


def test_what_is_below_zero_is_refused_and_named():
    with pytest.raises(CostNotKnown) as refused:
        batch_cost(
            materials=[material(-1)],
            packaging=[material(5), material(-5)],
            labor_minutes=-1,
            rates=Rates(overhead_per_batch=-1),
            recovered=-1,
        )
    assert [fault.field for fault in refused.value.faults] == [
        "lines.0",
        "lines.2",
        "labor_minutes",
        "recovered",
        "rates.overhead_per_batch",
    ]


def test_no_more_is_recovered_than_the_batch_cost():
    with pytest.raises(CostNotKnown):
        batch_cost(materials=[material(100)], rates=FREE, recovered=101)


# --- worked examples -----------------------------------------------------------------------


def test_normal_and_abnormal_spoilage():
    """A management accounting certification question on spoilage.

    2,200 over 550 units worked on is 4.00 each: 500 good and 30 normally spoiled carry 2,120, 20
    abnormally spoiled are a loss of 80.
    """
    batch = BatchCost(lines=(material(2_200 * UNIT),))
    cost = bar_cost(batch, good_bars=500, normal_rejects=30, abnormal_rejects=20)
    assert bar_cost(batch, good_bars=550).per_bar == 4 * UNIT
    assert cost.cost_of_good == 2_120 * UNIT
    assert cost.abnormal_loss == 80 * UNIT


def test_normal_loss_with_a_scrap_value():
    """An accounting qualification study text (F2), chapter 9, section 6.1: 22.80 a kilogram.

    1,000 kg at 18, labor 1,800, overhead 900, a tenth lost and sold at 1.80: 20,520 over 900 kg.
    """
    batch = batch_cost(
        materials=[material(18_000 * UNIT)],
        labor_minutes=60,
        rates=replace(FREE, labor_per_hour=1_800 * UNIT, overhead_per_batch=900 * UNIT),
        recovered=180 * UNIT,
    )
    assert batch.total == 20_520 * UNIT
    assert bar_cost(batch, good_bars=900).per_bar == 228_000


def test_abnormal_loss_where_the_normal_one_carries_no_cost():
    """Accounting qualification notes, 8.2 losses in process costing, example 1: 4,300 and 200.

    4,500 for 1,000 units of which 900 are expected, 5 each; 860 come out, so 40 are lost beyond
    the usual. (An abnormal gain, 920, is not something a studio that counts its bars books.)
    """
    batch = BatchCost(lines=(material(4_500 * UNIT),))
    cost = bar_cost(batch, good_bars=860, abnormal_rejects=40)
    assert cost.cost_of_good == 4_300 * UNIT
    assert cost.abnormal_loss == 200 * UNIT
    assert cost.per_bar == 5 * UNIT
