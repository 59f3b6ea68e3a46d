"""A cut that states more than was poured is refused; an unusual one is kept with its reason."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction

from inventory.models.stock.lots import Lot
from recipes.errors import CutNeedsReason
from recipes.models.bench.batches import Batch
from recipes.models.cure.finishing import CutRecord
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.finishing import Cut, cut_batch
from studio.foundation.errors import InvalidInput
from tests.inventory.making import TODAY
from tests.recipes.making import make_bench, planned, stock

G = 10**9


@pytest.fixture
def batch(database):
    """1000 g poured for eight bars, weighed on a scale that shows single grams."""
    bench = make_bench()
    stock(bench)
    made = planned(bench)
    reserve_batch(made.code)
    pour_batch(made.code, Poured(on=TODAY, output_ng=1000 * G))
    return Batch.objects.get(pk=made.pk)


def cut(batch, good=8, **values):
    return cut_batch(batch.code, Cut(on=TODAY + timedelta(days=1), bars_good=good, **values))


def refused(batch, kind, **values):
    with transaction.atomic():
        with pytest.raises(kind) as refusal:
            cut(batch, **values)
        assert Batch.objects.get(pk=batch.pk).state == "poured"
        assert not CutRecord.objects.filter(batch=batch).exists()
    return [(fault.code, fault.field) for fault in refusal.value.faults]


def test_what_is_stated_weighs_no_more_than_was_poured(batch):
    heavy = {"good_weight": 900 * G, "rejected_weight": 80 * G, "ends_weight": 40 * G}
    assert batch.version.resolution == G
    # One reading of the pour, one of each of nine bars and of the ends: 11 g, and 20 are too much.
    assert refused(batch, InvalidInput, bars_rejected=1, **heavy) == [
        ("more-than-poured", "good_weight")
    ]
    within = {**heavy, "ends_weight": 31 * G}
    cut(batch, bars_rejected=1, **within)
    record = CutRecord.objects.get(batch=batch)
    assert (record.allowance, record.lost_weight) == (11 * G, 0)
    with pytest.raises(IntegrityError), transaction.atomic():
        CutRecord.objects.filter(batch=batch).update(ends_weight=32 * G)


def test_a_thousand_bars_of_three_kilograms_do_not_come_out_of_one(batch):
    assert refused(batch, InvalidInput, good=1000, good_weight=3000 * G, reason="thin") == [
        ("more-than-poured", "good_weight")
    ]


def test_weighed_ends_leave_something_for_the_bars(batch):
    assert refused(batch, InvalidInput, ends_weight=1000 * G, reason="so it was") == [
        ("more-than-poured", "ends_weight")
    ]


@pytest.mark.parametrize(
    ("values", "codes"),
    [
        ({"good_weight": 890 * G}, ["loss-needs-reason"]),
        ({"good": 6}, ["loss-needs-reason"]),
        ({"good": 20}, ["bar-weight-needs-reason"]),
        ({"good": 16, "good_weight": 980 * G}, ["bar-weight-needs-reason"]),
        ({"good": 4, "good_weight": 300 * G}, ["loss-needs-reason", "bar-weight-needs-reason"]),
    ],
)
def test_what_is_unusual_is_kept_with_its_reason(batch, values, codes):
    for reason in ("", "   "):
        told = refused(batch, CutNeedsReason, reason=reason, **values)
        assert told == [(code, "reason") for code in codes]
    cut(batch, reason=" Cut thin on purpose. ", **values)
    assert CutRecord.objects.get(batch=batch).reason == "Cut thin on purpose."
    assert Lot.objects.get(code=batch.code).on_hand == values.get("good", 8)


def test_a_usual_cut_asks_for_nothing_and_tells_its_loss(batch):
    cut(batch, good_weight=940 * G, ends_weight=30 * G)
    record = CutRecord.objects.get(batch=batch)
    assert (record.reason, record.lost_weight) == ("", 30 * G)


def test_a_reason_has_its_length(batch):
    assert refused(batch, InvalidInput, reason="x" * 1001) == [("too-long", "reason")]
