"""A weighed batch is poured, cut, weighed while it cures, and released, by clicking."""

import math
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import expect

from inventory.models.stock.lots import Lot
from recipes.models.bench.batches import Batch, BatchLine
from recipes.models.cure.finishing import CureChoice, CureWeighing
from recipes.queries.cure.cure import cure_of
from recipes.services.bench.actuals import Reading, weigh_line
from recipes.services.bench.batches import reserve_batch
from tests.recipes.making import make_bench, planned, stock

pytestmark = pytest.mark.django_db(transaction=True)
DONE_ON = "phone"
BENCH_TARGET = 48
DRYING_PER_DAY = 0.1


@pytest.fixture
def batch(transactional_db):
    """Reserved, and weighed to the gram."""
    bench = make_bench()
    stock(bench)
    made = planned(bench, on=timezone.localdate())
    reserve_batch(made.code)
    for row in BatchLine.objects.filter(batch=made).exclude(stage="pack"):
        weigh_line(made.code, Reading(position=row.position, amount=row.planned))
    return made


def ago(days):
    return (timezone.localdate() - timedelta(days=days)).isoformat()


def told(page):
    return page.get_by_role("status")


def fits(page):
    """Nothing makes the page scroll sideways."""
    wide = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    assert page.evaluate(wide) <= 0


def has_bench_targets(page):
    wanted = "button, .button, summary, input:not([type=checkbox]), .tick > label"
    for target in page.locator("form.bench").locator(f":is({wanted}):visible").all():
        box = target.bounding_box()
        assert box is not None and box["height"] >= BENCH_TARGET


def pour(page, axe):
    page.get_by_role("link", name="Pour", exact=True).click()
    expect(page.locator(".answer")).to_contain_text("All is weighed")
    expect(page.get_by_role("heading", name="Lye burns")).to_be_visible()
    has_bench_targets(page)
    page.get_by_label("Poured on").fill(ago(30))
    page.get_by_label("Fats").fill("104 F")
    expect(page.locator("#id_oil_temperature-read")).to_contain_text("40 °C")
    page.get_by_label("Lye", exact=True).fill("hot")
    page.get_by_label("Weight of the batter").fill("1 kg 5 g")
    expect(page.locator("#id_poured-read")).to_contain_text("1.005 kg")
    axe("Pour Plain olive")
    fits(page)
    page.get_by_role("button", name="Pour", exact=True).click()
    expect(page.locator("#id_lye_temperature-error")).to_contain_text("Begin with a number")
    expect(page.get_by_label("Fats")).to_have_value("104 F")
    page.get_by_label("Lye", exact=True).fill("38 C")
    page.get_by_role("button", name="Pour", exact=True).click()
    expect(told(page)).to_contain_text("is poured")


def cut(page, axe):
    page.get_by_role("link", name="Cut", exact=True).click()
    expect(page.locator(".answer")).to_contain_text("8 bars")
    expect(page.get_by_role("img", name="The cut, seen from above").first).to_be_attached()
    page.get_by_label("Cut on").fill(ago(29))
    page.get_by_label("Good bars", exact=True).fill("7")
    page.get_by_label("Rejected bars", exact=True).fill("1")
    page.get_by_text("Weights, ends, an unusual loss").click()
    page.get_by_label("Of the rejects, by").fill("2")
    has_bench_targets(page)
    axe("Cut Plain olive")
    fits(page)
    page.get_by_role("button", name="Cut", exact=True).click()
    expect(page.locator("#id_bars_rejected_abnormal-error")).to_be_visible()
    page.get_by_label("Of the rejects, by").fill("1")
    page.get_by_role("button", name="Cut", exact=True).click()
    expect(told(page)).to_contain_text("cut into 7 good bars")


def weigh(page, days_ago, *, more=False):
    """Weigh the bars as they would be when they dry by the same share every day."""
    page.get_by_label("Weighed on").fill(ago(days_ago))
    if more:
        page.get_by_role("button", name="Another bar").click()
        page.locator("#id_bars-5-bar").fill("6")
    left = 14 * math.exp(-DRYING_PER_DAY * (28 - days_ago))
    for row in range(6):
        page.locator(f"#id_bars-{row}-weight").fill(f"{100 + row + left:.1f} g")
    page.get_by_role("button", name="Keep these weights").click()
    expect(told(page)).to_contain_text("6 bars")


def weigh_and_choose(page, axe, batch):
    page.get_by_role("link", name="Weigh the cure").click()
    expect(page.locator("main")).to_contain_text("three days or more")
    axe("Cure of Plain olive")
    weigh(page, 28, more=True)
    weigh(page, 21)
    expect(page.locator("main")).to_contain_text("there are 2")
    weigh(page, 14)
    assert CureWeighing.objects.count() == 18
    expect(page.locator(".answer")).to_contain_text("The weighings say")
    axe("Cure of Plain olive")
    fits(page)
    page.get_by_label("Why this date").fill("They are hard")
    page.get_by_role("button", name="hold").click()
    expect(told(page)).to_contain_text("cures until")
    assert CureChoice.objects.get().reason == "They are hard"
    assert cure_of(batch.code).may_accept is False


def test_from_the_pour_to_released_bars(studio_page, axe, batch):
    studio_page.goto(f"/batches/{batch.code}/")
    pour(studio_page, axe)
    cut(studio_page, axe)
    weigh_and_choose(studio_page, axe, batch)
    studio_page.get_by_role("link", name="Release bars").click()
    expect(studio_page.locator(".answer")).to_contain_text("are cured since")
    expect(studio_page.get_by_label("Box")).to_have_value("7 each")
    expect(studio_page.locator("main")).to_contain_text("net, for a first sale on")
    axe("Release bars of Plain olive")
    fits(studio_page)
    studio_page.get_by_role("button", name="Release bars").click()
    expect(told(studio_page)).to_contain_text("7 bars")
    made = Batch.objects.get()
    assert made.state == "cured" and made.cut_record.loss > 0
    assert Lot.objects.get(pk=made.bar_lot_id).on_hand == 7
    studio_page.get_by_role("link", name="The cure and net weight").click()
    expect(studio_page.locator(".answer")).to_contain_text("Released on")
    axe("Cure of Plain olive")


def test_a_lye_heavy_pour_is_told_before_and_after_and_is_never_released(studio_page, axe, batch):
    olive = BatchLine.objects.get(batch=batch, material__code="olive")
    weigh_line(batch.code, Reading(position=olive.position, amount=olive.planned // 2))
    studio_page.goto(f"/batches/{batch.code}/pour/")
    expect(studio_page.locator(".answer")).to_contain_text("lye-heavy as weighed")
    axe("Pour Plain olive")
    fits(studio_page)
    studio_page.get_by_role("button", name="Pour", exact=True).click()
    expect(told(studio_page)).to_contain_text("blocked")
    studio_page.get_by_role("link", name="Cut", exact=True).click()
    expect(studio_page.locator("main")).to_contain_text("Its bars will be blocked too")
    studio_page.get_by_role("button", name="Cut", exact=True).click()
    expect(told(studio_page)).to_contain_text("they are blocked")
    studio_page.goto(f"/batches/{batch.code}/release/")
    expect(studio_page.locator(".answer")).to_contain_text("cannot be released")
    expect(studio_page.get_by_role("button", name="Release bars")).to_have_count(0)
    axe("Release bars of Plain olive")


def test_a_page_of_another_step_leads_to_the_right_one(studio_page, axe, batch):
    studio_page.goto(f"/batches/{batch.code}/release/")
    expect(studio_page.locator(".answer")).to_contain_text("It is not poured yet")
    axe("Release bars of Plain olive")
    studio_page.locator(".action").get_by_role("link").click()
    expect(studio_page.locator("#bench")).to_be_visible()
