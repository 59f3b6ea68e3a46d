"""Sample bars are weighed, and the maker chooses which date holds; on both databases."""

import math
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import transaction

from recipes.domain.formulas.scaled import FatTarget
from recipes.errors import BatchConflict, OutsideTable
from recipes.models.bench.batches import Batch
from recipes.models.cure.finishing import CureChoice, CureWeighing, CutRecord
from recipes.queries.cure.cure import cure_of, cut_plan_of
from recipes.queries.labels.net_weight import NetWeightQuestion, net_weight_of
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.cure import DayOfWeighing, choose_cure_date, weigh_bars
from recipes.services.cure.finishing import Cured, Cut, cure_batch, cut_batch
from studio.foundation.errors import InvalidInput
from tests.inventory.making import TODAY
from tests.recipes.making import make_bench, planned, stock

G = 10**9
CUT_ON = TODAY + timedelta(days=1)


def in_its_mold(**spec):
    bench = make_bench(**spec)
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    pour_batch(batch.code, Poured(on=TODAY))
    return batch


def curing(**spec):
    batch = in_its_mold(**spec)
    cut_batch(batch.code, Cut(on=CUT_ON, bars_good=8))
    return batch


def weigh(batch, day, *grams):
    weights = {bar: round(one * G) for bar, one in enumerate(grams, start=1)}
    return weigh_bars(batch.code, DayOfWeighing(on=CUT_ON + timedelta(days=day), weights=weights))


def dry(batch, rate=0.1, days=(0, 3, 7, 14, 20), lost=14.0):
    for day in days:
        left = lost * math.exp(-rate * day)
        weigh(batch, day, 100 + left, 101 + left, 99 + left, 100.5 + left)


def test_without_weighings_the_recipe_days_hold(database):
    cure = cure_of(curing().code)
    assert cure.default_on == cure.ready_on == TODAY + timedelta(days=28)
    assert (cure.curve, cure.predicted, cure.may_accept) == (None, None, False)
    assert cure.no_curve.code == "too-few-days"
    assert cure.limit == Decimal("0.01")


def test_a_predicted_date_holds_only_once_it_is_accepted(database):
    batch = curing()
    dry(batch)
    cure = cure_of(batch.code)
    # 14 exp(-0.1 t)(1 - exp(-0.7)) = 0.01 (100.125 + 14 exp(-0.1 t)): t = 19.7, so 20 days on
    predicted = CUT_ON + timedelta(days=20)
    assert cure.predicted.on == predicted and cure.may_accept
    assert cure.ready_on == cure.default_on
    with pytest.raises(BatchConflict, match="cure"), transaction.atomic():
        cure_batch(batch.code, Cured(on=predicted))
    choose_cure_date(batch.code, predicted, reason="dry enough")
    cure = cure_of(batch.code)
    assert (cure.ready_on, cure.may_accept) == (predicted, False)
    assert [(c.kind, c.due_on, c.ready_on) for c in cure.choices] == [
        ("accepted", cure.default_on, predicted)
    ]
    cure_batch(batch.code, Cured(on=predicted))
    assert CureChoice.objects.filter(kind="early").count() == 0


def test_a_later_date_may_be_accepted_and_the_default_taken_back(database):
    batch = curing(cure_days=10)
    dry(batch, rate=0.05)
    later = cure_of(batch.code).predicted.on
    assert later > TODAY + timedelta(days=10)
    choose_cure_date(batch.code, later)
    assert Batch.objects.get(pk=batch.pk).cure_ready_on == later
    default = TODAY + timedelta(days=10)
    choose_cure_date(batch.code, default)
    assert Batch.objects.get(pk=batch.pk).cure_ready_on == default
    assert [choice.kind for choice in cure_of(batch.code).choices] == ["accepted", "default"]


def test_any_other_date_is_refused(database):
    batch = curing()
    with pytest.raises(InvalidInput, match="different days"):
        choose_cure_date(batch.code, TODAY + timedelta(days=20))
    dry(batch)
    stale = cure_of(batch.code).predicted.on + timedelta(days=1)
    with pytest.raises(InvalidInput, match="predict"), transaction.atomic():
        choose_cure_date(batch.code, stale)
    assert not CureChoice.objects.exists()


def test_an_early_release_is_kept_with_its_reason(database):
    batch = curing()
    early = TODAY + timedelta(days=9)
    cure_batch(batch.code, Cured(on=early, early_reason="  sample for a shop "))
    (choice,) = CureChoice.objects.all()
    assert (choice.kind, choice.due_on, choice.ready_on, choice.reason) == (
        "early",
        TODAY + timedelta(days=28),
        early,
        "sample for a shop",
    )
    with pytest.raises(BatchConflict):
        choose_cure_date(batch.code, TODAY + timedelta(days=28))


def test_a_bar_weighed_again_on_a_day_has_its_new_weight(database):
    batch = curing()
    weigh(batch, 0, 110, 112)
    weigh(batch, 0, 111)
    weigh(batch, 5, 108)
    rows = CureWeighing.objects.order_by("on", "bar").values_list("bar", "weight")
    assert list(rows) == [(1, 111 * G), (2, 112 * G), (1, 108 * G)]


@pytest.mark.parametrize(
    ("day", "weights", "fields"),
    [
        (-1, {1: 100 * G}, {"on"}),
        (0, {}, {"weights"}),
        (0, {0: 100 * G, 2: 0}, {"weights.0", "weights.2"}),
        (8000, {1: 100 * G}, {"on"}),
    ],
)
def test_weighings_that_cannot_be_are_refused(database, day, weights, fields):
    batch = curing()
    with pytest.raises(InvalidInput) as refused, transaction.atomic():
        weigh_bars(batch.code, DayOfWeighing(on=CUT_ON + timedelta(days=day), weights=weights))
    assert {fault.field for fault in refused.value.faults} == fields
    assert not CureWeighing.objects.exists()


def test_samples_weigh_no_more_than_was_poured(database):
    batch = curing()
    poured = CutRecord.objects.get(batch=batch).poured
    third, on = dict.fromkeys((1, 2, 3), poured // 3), CUT_ON
    for weights, field in [({1: poured + 10 * G}, "weights.1"), ({**third, 4: 99 * G}, "weights")]:
        with pytest.raises(InvalidInput) as refused, transaction.atomic():
            weigh_bars(batch.code, DayOfWeighing(on=on, weights=weights))
        assert [(f.code, f.field) for f in refused.value.faults] == [("more-than-poured", field)]
    weigh_bars(batch.code, DayOfWeighing(on=on, weights=third))
    with pytest.raises(InvalidInput), transaction.atomic():  # with what that day has already
        weigh_bars(batch.code, DayOfWeighing(on=on, weights={4: 99 * G}))
    weigh_bars(batch.code, DayOfWeighing(on=on + timedelta(days=1), weights={4: 99 * G}))


def test_bars_that_a_scale_cannot_show_are_refused(database):
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    batch = pour_batch(batch.code, Poured(on=TODAY)).batch
    most = batch.poured_lot.on_hand // batch.version.resolution
    with pytest.raises(InvalidInput) as refused, transaction.atomic():
        cut_batch(batch.code, Cut(on=CUT_ON, bars_good=1, bars_rejected=most, reason="thin"))
    assert [fault.code for fault in refused.value.faults] == ["bars-too-light"]
    assert cut_batch(batch.code, Cut(on=CUT_ON, bars_good=most, reason="thin")).bars_good == most


def test_bars_are_weighed_after_the_cut_and_also_after_their_release(database):
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    with pytest.raises(BatchConflict), transaction.atomic():
        weigh(batch, 0, 100)
    with pytest.raises(BatchConflict), transaction.atomic():
        cure_of(batch.code)
    reserve_batch(batch.code)
    pour_batch(batch.code, Poured(on=TODAY))
    assert cure_of(batch.code).default_on == TODAY + timedelta(days=28)
    cut_batch(batch.code, Cut(on=CUT_ON, bars_good=8))
    cure_batch(batch.code, Cured(on=TODAY + timedelta(days=28)))
    weigh(batch, 40, 100)
    assert CureWeighing.objects.count() == 1


def test_weights_that_scatter_say_that_no_curve_fits(database):
    batch = curing()
    for day, grams in enumerate((110, 104, 113, 101, 109)):
        weigh(batch, day * 4, grams)
    cure = cure_of(batch.code)
    assert (cure.curve, cure.no_curve.code, cure.series) == (None, "no-curve", ())


def test_the_cut_plan_follows_what_was_poured(database):
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    before = cut_plan_of(batch.code)
    assert before.batter_ng == batch.batter and before.record is None
    reserve_batch(batch.code)
    pour_batch(batch.code, Poured(on=TODAY, output_ng=800 * G))
    assert cut_plan_of(batch.code).plan.bar_ng == 100 * G
    cut_batch(batch.code, Cut(on=CUT_ON, bars_good=8))
    assert cut_plan_of(batch.code).record.bars_cost > 0


def test_a_batch_without_a_mold_has_no_cut_plan(database):
    bench = make_bench()
    stock(bench)
    batch = planned(bench, target=FatTarget(500 * G), bars=4)
    with pytest.raises(BatchConflict, match="mold"):
        cut_plan_of(batch.code)


def test_the_label_stands_on_the_curve_at_the_sale_date(database):
    batch = curing()
    dry(batch, days=(0, 3, 7, 14))
    found = net_weight_of(batch.code, NetWeightQuestion())
    assert (found.by, found.sale_on) == ("curve", TODAY + timedelta(days=28))
    assert found.weighed_on == CUT_ON + timedelta(days=14)
    # on that day the mean is 100.125 + 14 exp(-2.7) = 101.07 g; 14 days after the cut 103.58 g
    assert float(found.expected.mean) / G == pytest.approx(101.07, abs=0.02)
    assert found.label.label <= found.expected.mean
    assert found.inspected == 8
    later = net_weight_of(batch.code, NetWeightQuestion(sale_on=found.sale_on + timedelta(days=60)))
    assert later.label.label <= found.label.label


def test_without_a_curve_the_recipe_loss_is_expected(database):
    batch = curing()  # 10 % over 28 days
    asked = NetWeightQuestion(weights=[120 * G] * 6, weighed_on=TODAY)
    found = net_weight_of(batch.code, asked)
    assert (found.by, found.label.label) == ("recipe", 108 * G)
    assert any("cure loss" in note for note in found.notes)
    dried = NetWeightQuestion(weights=[108 * G] * 6)
    found = net_weight_of(batch.code, dried)
    assert (found.by, found.label.label) == ("weighed", 108 * G)


@pytest.mark.parametrize("is_cut", [True, False])
def test_no_label_stands_on_bars_heavier_than_the_pour(database, is_cut):
    batch = curing() if is_cut else Batch.objects.get(code=in_its_mold().code)
    poured = Batch.objects.get(pk=batch.pk).poured_lot.received_amount
    step = batch.version.resolution
    half = poured // 2
    for weights, fields in (
        ([100 * G, poured + 3 * step, poured + 3 * step], ["weights.1", "weights.2"]),
        ([half, half, 4 * step + 1], ["weights"]),
    ):
        with pytest.raises(InvalidInput, match="that were poured") as refused:
            net_weight_of(batch.code, NetWeightQuestion(weights=weights))
        assert [fault.code for fault in refused.value.faults] == ["more-than-poured"] * len(fields)
        assert [fault.field for fault in refused.value.faults] == fields
    within = [half, poured - half + 3 * step]  # the scale accounts for that
    assert net_weight_of(batch.code, NetWeightQuestion(weights=within)).weighed.count == 2


def test_bars_above_the_table_have_no_label(database):
    bench = make_bench()
    stock(bench)
    batch = planned(bench, target=FatTarget(3000 * G), bars=2)
    reserve_batch(batch.code)
    pour_batch(batch.code, Poured(on=TODAY))
    with pytest.raises(OutsideTable) as refused:
        net_weight_of(batch.code, NetWeightQuestion(weights=[1900 * G, 1900 * G]))
    assert [fault.field for fault in refused.value.faults] == ["label"]


def test_what_the_label_answer_tells_beside_the_weight(database):
    batch = curing()
    early = TODAY + timedelta(days=9)
    found = net_weight_of(
        batch.code, NetWeightQuestion(sale_on=early, weights=[30 * G, 31 * G, 30 * G, 30 * G])
    )
    assert any("not for legal decisions" in note for note in found.notes)
    assert any("cure is over" in note for note in found.notes)
    assert any("scale shows steps" in note for note in found.notes)  # 1 g is more than 0.47 g
    assert len(found.reasons) == 3
    with pytest.raises(InvalidInput, match="weights of a few bars"):
        net_weight_of(batch.code, NetWeightQuestion())
    with pytest.raises(InvalidInput, match="poured"):
        net_weight_of(
            batch.code,
            NetWeightQuestion(weights=[G, G], weighed_on=TODAY - timedelta(days=1)),
        )
