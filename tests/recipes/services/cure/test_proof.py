"""Older cuts that state more than was poured are found by the proof of the books."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from inventory.services.stock.proof import prove_books
from recipes.models.cure.finishing import CutRecord
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.finishing import Cut, cut_batch
from tests.inventory.making import TODAY
from tests.recipes.making import make_bench, planned, stock

G = 10**9


def test_a_cut_above_its_pour_is_named(database):
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    pour_batch(batch.code, Poured(on=TODAY, output_ng=1000 * G))
    cut_batch(batch.code, Cut(on=TODAY, bars_good=8, good_weight=990 * G))
    assert prove_books().holds
    # As it could be recorded before: nothing was kept of what the scale allows.
    CutRecord.objects.filter(batch=batch).update(allowance=None, ends_weight=11 * G)
    (found,) = prove_books().differences
    assert (found.document, found.on_row, found.in_books) == (batch.holder, 1001 * G, 1000 * G)
    out = StringIO()
    with pytest.raises(CommandError, match=batch.holder):
        call_command("prove", stdout=out)
    assert "weight of bars, rejects and ends is 1001 g, but what was poured" in out.getvalue()
