"""The page of the cut: its plan and drawing, rejects, ends, and what is refused."""

import pytest
from django.urls import reverse

from inventory.models.stock.lots import Lot
from recipes.domain.cure.cutting import BarSize, CutLayout
from recipes.domain.formulas.scaled import FatTarget
from recipes.models.bench.batches import Batch
from recipes.models.molds.molds import Mold
from recipes.pages.cure.cut import draw_cut
from recipes.services.bench.batches import reserve_batch
from studio.foundation.units.registry import NG_PER_G
from tests.inventory.making import KG, TODAY
from tests.read_pages import read
from tests.recipes.making import make_bench, planned, stock
from tests.recipes.pages.bench.test_making import cut, look, poured, reserved, send, signed_in
from tests.studio.foundation.drawing.drawn import check

pytestmark = pytest.mark.django_db


def in_mold(**mold):
    bench = make_bench()
    Mold.objects.update(**mold)
    bench.mold.refresh_from_db()
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    client = signed_in()
    poured(client, batch)
    return batch, client


def test_the_cut_is_drawn_with_its_ends():
    batch, client = in_mold(trim=4_000_000)
    page = look(client, "cut-page", batch)
    assert "<strong>8 bars</strong>" in page and "and 2 ends" in page
    assert 'value="8"' in page
    assert "The cut, seen from above" in page and "end, 4 mm" in page
    assert "wear gloves" in page


@pytest.mark.parametrize("along", [1, 8, 61, 100_000])
@pytest.mark.parametrize("across", [1, 5, 5_000])
@pytest.mark.parametrize("wide", [1, 70_000_000, 5_000_000_000])
def test_any_cut_is_drawn_inside_its_picture(along, across, wide):
    layout = CutLayout(
        size=BarSize(length_nm=25_000_000, width_nm=wide, height_nm=60_000_000),
        along=along,
        across=across,
        layers=3,
        trim_nm=5_000_000,
        rest_nm=9_000_000,
        pieces=4,
    )
    check(draw_cut(layout))


def test_a_batch_without_a_mold_is_cut_by_its_planned_bars():
    bench = make_bench()
    stock(bench)
    batch = planned(bench, target=FatTarget(KG), bars=6)
    reserve_batch(batch.code)
    client = signed_in()
    poured(client, batch)
    page = look(client, "cut-page", batch)
    assert "<strong>6 bars</strong> are planned; no mold says" in page and 'value="6"' in page
    assert cut(client, batch, bars_good="6", bars_rejected="").status_code == 303
    assert (batch.bars_good, batch.bars_rejected) == (6, 0)


def test_a_mold_that_gives_no_bar_any_more_does_not_stop_the_cut():
    batch, client = in_mold()
    Mold.objects.update(trim=130_000_000)
    assert "no mold says how it is cut" in look(client, "cut-page", batch)
    assert cut(client, batch).status_code == 303


def test_ends_are_kept_as_a_lot_with_their_share_and_an_unusual_loss_is_an_expense():
    batch, client = reserved(), signed_in()
    poured(client, batch)
    given = {
        "bars_good": "6",
        "bars_rejected": "2",
        "bars_rejected_abnormal": "1",
        "ends_weight": "120 g",
        "keep_ends": "on",
        "ends_cost_share": "5 %",
        "minutes": "12",
        "note": "one fell",
    }
    assert cut(client, batch, **given).status_code == 303
    record = batch.cut_record
    ends = Lot.objects.get(pk=record.ends_lot_id)
    assert ends.on_hand == 120 * NG_PER_G and record.ends_cost > 0 and record.loss > 0
    assert record.bars_cost + record.ends_cost + record.loss == record.cost
    assert (batch.bars_rejected_abnormal, batch.cut_minutes) == (1, 12)
    assert "one fell" in batch.note


def test_thin_bars_are_asked_about_and_cut_with_a_reason():
    batch, client = reserved(), signed_in()
    poured(client, batch)
    thin = {"bars_good": "12", "bars_rejected": ""}
    asked = cut(client, batch, **thin)
    page = read(asked)
    assert asked.status_code == 422 and "was planned with" in page and "say why" in page
    assert Batch.objects.get(pk=batch.pk).state == "poured"
    assert cut(client, batch, **thin, reason="Guest bars, cut thin.").status_code == 303
    assert batch.cut_record.reason == "Guest bars, cut thin."
    assert "Guest bars, cut thin." in look(client, "batch-page", batch)


def test_without_a_good_bar_the_soap_is_written_off_and_nothing_can_be_released():
    batch, client = reserved(), signed_in()
    poured(client, batch)
    answer = client.post(
        reverse("cut-page", args=[batch.code]),
        {"once": "k", "on": TODAY.isoformat(), "bars_good": "0", "bars_rejected": "8"},
        follow=True,
    )
    assert "its soap is written off" in read(answer)
    batch.refresh_from_db()
    assert batch.bar_lot is None and batch.cut_record.loss == batch.cut_record.cost
    assert "It gave no good bar" in look(client, "release-page", batch)
    refused = send(client, "release-page", batch, "go", on=batch.cure_ready_on.isoformat())
    assert refused.status_code in (409, 422) and batch.state == "cut"
    assert "Weigh bars" not in look(client, "cure-page", batch)


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"bars_good": "seven"}, "whole number"),
        ({"bars_good": "-1"}, "greater than or equal to 0"),
        ({"good_weight": "3 miles"}, "miles"),
        ({"ends_weight": "90 kg", "keep_ends": "on"}, "that were poured"),
        ({"ends_cost_share": "5 %"}, "Only ends that are kept"),
        ({"ends_weight": "9 g", "keep_ends": "on", "ends_cost_share": "100 %"}, "below 1"),
        ({"minutes": "1000000"}, "less than or equal to"),
    ],
)
def test_what_cannot_be_is_told_beside_its_field_and_nothing_typed_is_lost(values, told):
    batch, client = reserved(), signed_in()
    poured(client, batch)
    answer = cut(client, batch, note="kept words", **values)
    page = read(answer)
    assert answer.status_code == 422 and told in page and "kept words" in page
    assert all(f'value="{text}"' in page for name, text in values.items() if name != "keep_ends")
    assert Batch.objects.get(pk=batch.pk).state == "poured"
