"""What happened to a batch names who did each step, also those without a document of their own."""

from datetime import timedelta

import pytest

from recipes.queries.bench.batches import batch_by_code
from recipes.queries.cure.batch_history import history_of, readings_of
from recipes.services.bench.batches import cancel_batch, reserve_batch, unreserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.finishing import Cured, Cut, cure_batch, cut_batch
from studio.foundation.doers import acting
from tests.inventory.making import TODAY
from tests.recipes.making import make_bench, planned, stock
from tests.studio.web.api.people import person


@pytest.fixture
def bench(database):
    made = make_bench()
    stock(made)
    return made


def told(code):
    batch = batch_by_code(code)
    return [(one.what, one.by) for one in history_of(batch, readings_of(batch))]


def test_each_step_of_the_bench_names_who_did_it(bench):
    batch = planned(bench)
    holder, poured, cut, cured = (person("maker") for _ in range(4))
    reserve_batch(batch.code, by=holder)
    pour_batch(batch.code, Poured(on=TODAY), by=poured)
    cut_batch(batch.code, Cut(on=TODAY + timedelta(days=1), bars_good=8), by=cut)
    released = Cured(on=TODAY + timedelta(days=28))
    cure_batch(batch.code, released, by=cured)
    found = dict(told(batch.code))
    assert found["Lots held"] == holder.username
    assert found["Poured"] == poured.username
    assert found["Cut into 8 good bars"] == cut.username
    assert found["Bars released"] == cured.username


def test_giving_back_and_calling_off_name_who_did_it(bench):
    batch = planned(bench)
    one, other = person("maker"), person("maker")
    with acting(lambda: one):
        reserve_batch(batch.code)
        unreserve_batch(batch.code)
    with acting(lambda: other):
        cancel_batch(batch.code, reason="mold was taken")
    found = dict(told(batch.code))
    assert found["What was held is given back"] == one.username
    assert found["Called off"] == other.username
