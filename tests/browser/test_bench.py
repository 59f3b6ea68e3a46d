"""A batch weighed at the bench: over a reload, past the cautions, and while the network is away."""

import re

import pytest
from playwright.sync_api import expect

from inventory.models.stock.reservations import ReservationLine
from recipes.domain.bench.cautions import READY
from recipes.models.bench.batches import BatchLine, Weighing
from recipes.services.bench.actuals import Reading, weigh_line
from recipes.services.bench.batches import reserve_batch
from tests.inventory.making import KG, make_lot
from tests.recipes.making import make_bench, planned, stock

pytestmark = pytest.mark.django_db(transaction=True)
DONE_ON = "phone"
G = KG // 1000


@pytest.fixture
def batch(transactional_db):
    bench = make_bench()
    stock(bench)
    made = planned(bench)
    reserve_batch(made.code)
    return made


def line_of(batch, code):
    return BatchLine.objects.select_related("material").get(batch=batch, material__code=code)


def whole(line):
    return f"{line.planned // G} g"


def name(page):
    return page.locator("#line-name")


def reading(page):
    return page.get_by_label("What the scale shows")


def weigh(page, line, written=None):
    expect(name(page)).to_have_text(line.material.name)
    reading(page).fill(written or whole(line))
    page.get_by_role("button", name="Weighed").click()


def start(page, batch):
    page.goto(f"/batches/{batch.code}/bench/")


def confirm(page):
    for caution in READY:
        page.get_by_label(caution.text).check()
    page.get_by_role("button", name="Open the lye step").click()


def test_two_lines_a_reload_and_the_third(studio_page, axe, batch):
    olive, coconut, water = (line_of(batch, code) for code in ("olive", "coconut", "water"))
    start(studio_page, batch)
    axe("Plain olive")
    reading(studio_page).fill(f"{olive.planned // G + 50} g")
    expect(studio_page.locator(".judgement")).to_contain_text("over by 50 g")
    reading(studio_page).fill(str(olive.planned // G))
    studio_page.get_by_role("button", name="g", exact=True).click()
    expect(studio_page.locator(".judgement")).to_contain_text("inside")
    axe("Plain olive")
    studio_page.get_by_role("button", name="Weighed").click()
    weigh(studio_page, coconut)
    expect(studio_page.get_by_role("heading", name="Before the lye")).to_be_visible()
    axe("Before the lye")
    studio_page.reload()
    confirm(studio_page)
    expect(studio_page.locator(".standing")).to_contain_text("2 of 5")
    expect(studio_page.locator(".in-short")).to_contain_text("Lye burns")
    axe("Plain olive")
    weigh(studio_page, water)
    expect(studio_page.locator(".standing")).to_contain_text("3 of 5")
    assert [one.amount for one in Weighing.objects.order_by("id")] == [
        olive.planned // G * G,
        coconut.planned // G * G,
        water.planned // G * G,
    ]
    studio_page.reload()
    expect(studio_page.locator(".standing")).to_contain_text("3 of 5")


def test_the_lye_stays_closed_until_every_point_is_ticked(studio_page, batch):
    naoh = line_of(batch, "naoh")
    studio_page.goto(f"/batches/{batch.code}/bench/?line={naoh.position}")
    expect(name(studio_page)).to_have_count(0)
    studio_page.get_by_label(READY[0].text).check()
    studio_page.get_by_role("button", name="Open the lye step").click()
    expect(studio_page.locator(".field .wrong")).to_contain_text("Not ticked yet")
    expect(studio_page.get_by_label(READY[0].text)).to_be_checked()
    confirm(studio_page)
    weigh(studio_page, naoh)
    expect(studio_page.locator(".standing")).to_contain_text("1 of 5")


def test_a_second_container_is_named_with_what_came_out_of_it(studio_page, axe, batch):
    olive = line_of(batch, "olive")
    second = make_lot(olive.material, KG)
    start(studio_page, batch)
    studio_page.get_by_text("Take it from another lot").click()
    studio_page.get_by_label("From lot", exact=True).select_option(second.code)
    axe("Plain olive")
    studio_page.get_by_label("So much of it").first.fill("9 kg")
    reading(studio_page).fill(whole(olive))
    studio_page.get_by_role("button", name="Weighed").click()
    expect(studio_page.locator("#card .wrong").last).to_contain_text("add up")
    expect(reading(studio_page)).to_have_value(whole(olive))
    studio_page.get_by_label("So much of it").first.fill("")
    studio_page.get_by_role("button", name="Weighed").click()
    expect(studio_page.locator(".standing")).to_contain_text("1 of 5")
    assert ReservationLine.objects.get(lot=second).remaining == olive.planned // G * G


def test_readings_wait_for_the_network_and_are_kept_once(studio_page, offline_allowed, batch):
    olive, coconut, scent = (line_of(batch, code) for code in ("olive", "coconut", "scent"))
    start(studio_page, batch)
    expect(reading(studio_page)).to_be_visible()
    studio_page.context.set_offline(True)
    weigh(studio_page, olive)
    waiting = studio_page.locator("#waiting")
    expect(waiting).to_contain_text("1 reading waits for the network")
    weigh(studio_page, coconut)
    expect(waiting).to_contain_text("2 readings wait for the network")
    expect(waiting).to_contain_text("The lye step opens when the network is back")
    expect(name(studio_page)).to_have_text(scent.material.name)
    assert Weighing.objects.count() == 0
    reading(studio_page).fill("1 g")
    studio_page.context.set_offline(False)
    expect(studio_page.locator(".standing")).to_contain_text("2 of 5")
    expect(waiting).to_be_empty()
    expect(reading(studio_page)).to_have_value("1 g")
    assert [one.line_id for one in Weighing.objects.order_by("id")] == [olive.pk, coconut.pk]
    assert studio_page.evaluate("localStorage.length") == 0


def test_a_reload_sends_what_waits(studio_page, offline_allowed, batch):
    olive = line_of(batch, "olive")
    start(studio_page, batch)
    studio_page.route("**/bench/weigh/", lambda route: route.abort("internetdisconnected"))
    weigh(studio_page, olive)
    expect(studio_page.locator("#waiting")).to_contain_text("1 reading waits")
    studio_page.unroute("**/bench/weigh/")
    studio_page.reload()
    expect(studio_page.locator(".standing")).to_contain_text("1 of 5")
    assert Weighing.objects.get().line_id == olive.pk


def test_an_answer_that_was_lost_is_not_weighed_twice(studio_page, offline_allowed, batch):
    olive = line_of(batch, "olive")
    start(studio_page, batch)

    def lose(route):
        route.fetch(max_redirects=0)
        route.abort("internetdisconnected")

    studio_page.route("**/bench/weigh/", lose, times=1)
    weigh(studio_page, olive)
    expect(studio_page.locator(".standing")).to_contain_text("1 of 5", timeout=15_000)
    expect(studio_page.locator("#waiting")).to_be_empty()
    assert Weighing.objects.count() == 1


def test_a_reading_that_is_refused_later_is_told_and_not_lost(studio_page, offline_allowed, batch):
    olive = line_of(batch, "olive")
    start(studio_page, batch)
    studio_page.context.set_offline(True)
    weigh(studio_page, olive, "90 kg")
    waiting = studio_page.locator("#waiting")
    expect(waiting).to_contain_text("1 reading waits")
    studio_page.context.set_offline(False)
    expect(waiting).to_contain_text(f"Not taken: {olive.material.name}, 90 kg")
    waiting.get_by_role("link", name="Open the line").click()
    expect(reading(studio_page)).to_have_value("90 kg")
    weigh(studio_page, olive)
    expect(studio_page.locator(".standing")).to_contain_text("1 of 5")
    expect(waiting).to_be_empty()


def test_the_list_goes_on_from_field_to_field(studio_page, axe, batch):
    olive, coconut = line_of(batch, "olive"), line_of(batch, "coconut")
    start(studio_page, batch)
    studio_page.get_by_role("link", name="List").click()
    expect(studio_page).to_have_url(re.compile("view=list"))
    axe("Plain olive")
    row = studio_page.locator(f"#line-{olive.position}")
    row.get_by_label("Scale shows").fill("much")
    row.get_by_role("button", name="Weighed").click()
    expect(row.locator(".field .wrong")).to_contain_text("number")
    expect(row.get_by_label("Scale shows")).to_have_value("much")
    row.get_by_label("Scale shows").fill(whole(olive))
    row.get_by_role("button", name="Weighed").click()
    expect(row.locator(".state.inside")).to_be_visible()
    following = studio_page.locator(f"#line-{coconut.position}")
    expect(following.get_by_label("Scale shows")).to_be_focused()
    assert Weighing.objects.get().line_id == olive.pk


def test_the_list_waits_for_the_network_as_well(studio_page, offline_allowed, batch):
    rows = [line_of(batch, code) for code in ("olive", "coconut")]
    studio_page.goto(f"/batches/{batch.code}/bench/?view=list")
    studio_page.context.set_offline(True)
    for line in rows:
        row = studio_page.locator(f"#line-{line.position}")
        row.get_by_label("Scale shows").fill(whole(line))
        row.get_by_label("Scale shows").press("Enter")
        expect(row).to_contain_text("waits")
    expect(studio_page.locator(".standing")).to_contain_text("2 waiting")
    studio_page.context.set_offline(False)
    expect(studio_page.locator(".standing")).to_contain_text("2 of 5")
    for line in rows:
        expect(studio_page.locator(f"#line-{line.position} .state.inside")).to_be_visible()
    assert [one.line_id for one in Weighing.objects.order_by("id")] == [row.pk for row in rows]


def test_the_timer_counts_over_a_reload(studio_page, batch):
    start(studio_page, batch)
    clock = studio_page.get_by_role("timer")
    expect(clock).to_have_text("0:00")
    studio_page.get_by_role("button", name="Start").click()
    expect(clock).not_to_have_text("0:00")
    studio_page.reload()
    expect(clock).not_to_have_text("0:00")
    studio_page.get_by_role("button", name="Stop").click()
    studio_page.get_by_role("button", name="Reset").click()
    expect(clock).to_have_text("0:00")


def test_when_all_is_weighed_the_page_says_so(studio_page, axe, batch):
    rows = BatchLine.objects.filter(batch=batch).exclude(stage="pack").order_by("position")
    scent = line_of(batch, "scent")
    for row in rows.exclude(pk=scent.pk):
        weigh_line(batch.code, Reading(position=row.position, amount=row.planned))
    start(studio_page, batch)
    weigh(studio_page, scent)
    expect(studio_page.locator(".answer")).to_have_text("All 5 lines are weighed.")
    axe("Plain olive")
