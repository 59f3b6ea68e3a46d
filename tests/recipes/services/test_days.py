"""No pour, cut, weighing or release of a batch has a day to come."""

from datetime import timedelta

import pytest
from django.utils import timezone

from recipes.models.bench.batches import Batch
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.cure import DayOfWeighing, weigh_bars
from recipes.services.cure.finishing import Cured, Cut, cure_batch, cut_batch
from studio.foundation.errors import InvalidInput
from tests.inventory.making import KG
from tests.recipes.making import make_bench, planned, stock

pytestmark = pytest.mark.django_db


def test_each_step_of_a_batch_is_of_today_at_the_latest():
    bench = make_bench()
    stock(bench)
    today = timezone.localdate()
    batch = planned(bench, on=today)
    reserve_batch(batch.code)
    steps = (
        lambda day: pour_batch(batch.code, Poured(on=day)),
        lambda day: cut_batch(batch.code, Cut(on=day, bars_good=8)),
        lambda day: weigh_bars(batch.code, DayOfWeighing(on=day, weights={1: KG // 10})),
        lambda day: cure_batch(batch.code, Cured(on=day, early_reason="asked for")),
    )
    for step in steps:
        before = Batch.objects.filter(pk=batch.pk).values().get()
        with pytest.raises(InvalidInput) as refused:
            step(today + timedelta(days=2))
        assert [(f.code, f.field) for f in refused.value.faults] == [("day-to-come", "on")]
        assert Batch.objects.filter(pk=batch.pk).values().get() == before
        step(today)
    assert Batch.objects.get(pk=batch.pk).state == "cured"
