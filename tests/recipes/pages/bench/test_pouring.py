"""The page of the pour: what was weighed, what is not safe, degrees of the reader, and blends."""

from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inventory.domain.catalog.unusual import UNUSUAL
from inventory.domain.stock.holds import Decision, Outcome
from inventory.domain.stock.lots import LotState
from inventory.models.catalog.materials import Material
from inventory.models.stock.lots import Lot
from inventory.services.stock.certificates import certify_lot
from inventory.services.stock.hold_verbs import decide_lot, hold_lot
from recipes.domain.formulas.scaled import BatterTarget
from recipes.models.bench.batches import Batch
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import Wish, make_plan
from recipes.services.bench.actuals import BenchRecord, Reading, record_bench, weigh_line
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.shelf import batch_rows
from recipes.services.scaling.planning import plan_batch
from studio.models import Preference
from tests.inventory.making import KG, TODAY
from tests.read_pages import read
from tests.recipes.levels import fill, make_levels
from tests.recipes.making import make_bench, planned, stock
from tests.recipes.pages.bench.test_making import look, poured, reserved, send, signed_in
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db


def row_of(batch, code):
    return next(row for row in batch_rows(batch) if row.material.code == code)


def weigh(batch, code, factor="1"):
    row = row_of(batch, code)
    amount = round(row.planned * Decimal(factor))
    weigh_line(batch.code, Reading(position=row.position, amount=amount))
    return row, amount


def test_what_is_not_weighed_is_named_and_taken_as_planned():
    batch, client = reserved(), signed_in()
    _, olive = weigh(batch, "olive", "1.03")
    page = look(client, "pour-page", batch)
    assert "<strong>4 lines</strong> are not weighed" in page
    assert reverse("bench-page", args=[batch.code]) in page
    assert "outside the tolerance" in page and "Olive" in page
    poured(client, batch)
    assert row_of(batch, "olive").actual == olive
    coconut = row_of(batch, "coconut")
    assert coconut.actual == coconut.planned


def test_when_all_is_weighed_the_page_says_so():
    batch, client = reserved(), signed_in()
    for row in batch_rows(batch):
        if row.stage != "pack":
            weigh(batch, row.material.code)
    page = look(client, "pour-page", batch)
    assert "All is weighed" in page and "as planned</span>" not in page


def test_what_holds_no_fat_is_told_before_and_blocks_the_soap():
    batch, client = reserved(), signed_in()
    weigh(batch, "olive", "0"), weigh(batch, "coconut", "0")
    listed = reverse("bench-page", args=[batch.code]) + "?view=list"
    assert "no fat in it" in read(client.get(listed))
    assert "no fat in it" in look(client, "pour-page", batch)
    poured(client, batch)
    assert batch.poured_lot.state == LotState.BLOCKED.value
    assert "no fat in it" in look(client, "batch-page", batch)


def test_too_much_fragrance_is_told_before_and_blocks_the_soap():
    batch, client = reserved(), signed_in()
    weigh(batch, "scent", "3")
    page = look(client, "pour-page", batch)
    assert "must not be sold as weighed" in page and "lye-heavy" not in page
    poured(client, batch)
    assert batch.poured_lot.state == LotState.BLOCKED.value
    told = look(client, "batch-page", batch)
    held = batch.poured_lot.holds.get(cause="over-limit")
    told_of = held.reason.partition(" (Batch")[0]
    assert told_of in page and told_of in told


def test_what_turned_unsafe_as_planned_is_said_to_be_refused_and_is():
    batch, client = reserved(), signed_in()
    certify_lot(
        Lot.objects.get(material__code="olive").pk,
        {"sv_mg_koh_g": Decimal(150)},
        confirmed=UNUSUAL,
    )
    page = look(client, "pour-page", batch)
    assert "lye-heavy as it stands" in page and "Poured as planned it is refused" in page
    assert "is blocked" not in page and "weigh it right first" not in page
    assert "on a day before lot" in page and "and blocked" in page
    refused = send(client, "pour-page", batch, "now", on=timezone.localdate().isoformat())
    assert refused.status_code == 422 and batch.state == "reserved"
    weigh(batch, "naoh", "1.1")
    page = look(client, "pour-page", batch)
    assert "lye-heavy as weighed" in page and "Poured like this, its soap is blocked" in page
    assert "is refused" not in page and "weigh it right first" in page
    send(client, "pour-page", batch, "then", on=timezone.localdate().isoformat())
    assert batch.state == "poured" and batch.poured_lot.state == LotState.BLOCKED.value


def test_a_batch_of_another_alkali_is_said_to_be_refused_whatever_was_weighed():
    batch, client = reserved(), signed_in()
    weigh(batch, "naoh", "1.3")
    Material.objects.filter(code="naoh").update(alkali="KOH")
    page = look(client, "pour-page", batch)
    assert "It cannot be poured" in page and "every pour is refused" in page
    assert "is blocked" not in page and "are blocked" not in page and "all the same" not in page
    answer = poured(client, batch)
    assert answer.status_code == 422 and batch.state == "reserved"


def test_a_batch_is_blocked_on_its_page_while_its_soap_is():
    batch, client = reserved(), signed_in()
    weigh(batch, "naoh", "1.3")
    assert "lye-heavy</span>" in look(client, "batch-page", batch)
    poured(client, batch)
    assert batch.superfat_poured < 0
    page = look(client, "batch-page", batch)
    assert "Its soap is blocked: " in page and "blocked</span>" in page
    safe = Decision(outcome=Outcome.SAFE, reason="the scale was off", on=timezone.localdate())
    certify_lot(
        Lot.objects.get(material__code="naoh").pk, {"purity": Decimal("0.7")}, confirmed=UNUSUAL
    )
    decide_lot(batch.poured_lot.pk, safe, by=person("owner"))
    page = look(client, "batch-page", batch)
    assert "Its soap is blocked" not in page and "once it is firm" in page
    assert "blocked</span>" not in page and "lye-heavy</span>" not in page


@pytest.mark.parametrize(("units", "shown"), [("metric", "40.5 degC"), ("us", "104.9 degF")])
def test_temperatures_that_are_kept_stand_in_the_readers_degrees(units, shown):
    batch = reserved()
    record_bench(batch.code, BenchRecord(lye_temperature_c=Decimal("40.5"), trace_minutes=9))
    maker, client = person("maker"), Client()
    Preference.objects.create(user=maker, units=units)
    client.force_login(maker)
    page = look(client, "pour-page", batch)
    assert f'value="{shown}"' in page and 'value="9"' in page
    emptied = poured(client, batch, lye_temperature=shown)
    assert emptied.status_code == 422 and 'id="id_trace_minutes-error"' in read(emptied)
    given = {"lye_temperature": shown, "trace_minutes": "9"}
    poured(client, batch, poured_temperature="100 F", **given)
    assert batch.lye_temperature_c == Decimal("40.5")
    assert batch.poured_temperature_c == Decimal("37.778")


def test_a_refused_pour_keeps_nothing_of_the_bench():
    batch, client = reserved(), signed_in()
    held = Lot.objects.get(material__code="olive")
    hold_lot(held.pk, reason="rancid")
    answer = poured(client, batch, oil_temperature="41 degC", note="smelled odd")
    page = read(answer)
    assert answer.status_code == 422 and held.code in page
    assert 'value="41 degC"' in page and "smelled odd" in page
    assert batch.state == "reserved" and batch.oil_temperature_c is None


@pytest.mark.parametrize("day", ["9999-12-31", "0202-03-04", "soon", ""])
def test_a_day_that_cannot_be_is_refused(day):
    batch, client = reserved(), signed_in()
    answer = send(client, "pour-page", batch, "k", on=day, note="kept words")
    assert answer.status_code == 422 and "kept words" in read(answer)
    assert batch.state == "reserved"


def test_a_blend_is_mixed_and_done():
    levels = make_levels()
    fill(levels)
    plan = make_plan(load_formula(code="make-lye"), Wish(target=BatterTarget(KG)))
    batch = plan_batch(plan, planned_on=TODAY)
    reserve_batch(batch.code)
    client = signed_in()
    page = look(client, "pour-page", batch)
    assert "Mix Make lye" in page and "Lye burns" in page
    assert "Minutes to trace" not in page and "Superfat" not in page
    answer = poured(client, batch, poured="0.98 kg", minutes="15")
    assert answer.status_code == 303 and batch.state == "cured"
    assert (batch.bar_lot.on_hand, batch.mix_minutes) == (KG * 98 // 100, 15)
    for name in ("pour-page", "cut-page", "cure-page", "release-page"):
        assert "It is done" in look(client, name, batch)


def test_a_plan_is_led_to_its_page_and_stays_a_plan():
    bench = make_bench()
    stock(bench)
    batch, client = planned(bench), signed_in()
    page = look(client, "pour-page", batch)
    assert "reserve what it needs first" in page
    assert reverse("batch-page", args=[batch.code]) in page
    assert poured(client, batch).status_code == 409
    assert Batch.objects.get(pk=batch.pk).state == "planned"
    assert client.get("/batches/B-77777/pour/").status_code == 404
