"""The lye step at the bench: closed until its cautions are confirmed, and what is told of it."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.utils import timezone

from recipes.domain.bench.cautions import READY, STORED_READY
from recipes.domain.formulas.scaled import BatterTarget
from recipes.models.bench.batches import Weighing
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import Wish, make_plan
from recipes.services.bench.batches import reserve_batch
from recipes.services.scaling.planning import plan_batch
from tests.inventory.making import KG, TODAY
from tests.recipes.levels import fill, make_levels
from tests.recipes.making import make_bench, stock
from tests.recipes.pages.bench.weighing import (
    at,
    confirm,
    grams,
    line_of,
    reserved,
    signed_in,
    text,
    weigh,
)
from tests.recipes.services.bench.test_sheets import add_stored

pytestmark = pytest.mark.django_db


def test_the_lye_step_is_closed_until_its_cautions_are_confirmed():
    batch, client = reserved(), signed_in()
    naoh = line_of(batch, "naoh")
    page = text(client.get(at("bench-page", batch, line=naoh.position)))
    assert "Lye burns" in page and "Open the lye step" in page and 'id="card"' not in page
    refused = weigh(client, batch, "naoh", "100 g")
    assert refused.status_code == 409 and "not kept yet" in text(refused)
    assert 'name="amount" value="100 g"' in text(refused) and Weighing.objects.count() == 0
    half = client.post(at("bench-cautions-page", batch), {"ready": ["ventilation"]})
    assert half.status_code == 422 and "Not ticked yet: 4 of 5" in text(half)
    assert weigh(client, batch, "water", "100 g").status_code == 409
    opened = confirm(client, batch, line=naoh.position, amount="100 g")
    assert opened.status_code == 303
    page = text(client.get(opened.url))
    assert 'value="100 g"' in page and "never water onto lye" in page
    assert weigh(client, batch, "naoh", grams(naoh), key="now").status_code == 303


def test_a_confirmation_is_of_one_batch_one_person_and_one_day(monkeypatch):
    bench = make_bench()
    batch, other = reserved(bench), reserved(bench)
    client = signed_in()
    confirm(client, batch)
    naoh = line_of(batch, "naoh").position
    assert 'id="card"' in text(client.get(at("bench-page", batch, line=naoh)))
    assert 'id="card"' not in text(client.get(at("bench-page", other, line=naoh)))
    assert 'id="card"' not in text(signed_in("owner").get(at("bench-page", batch, line=naoh)))
    tomorrow = timezone.localdate() + timedelta(days=1)
    monkeypatch.setattr("recipes.pages.bench.cautions.timezone.localdate", lambda: tomorrow)
    assert 'id="card"' not in text(client.get(at("bench-page", batch, line=naoh)))


def test_the_alkali_of_a_blend_waits_for_the_cautions_too():
    levels = make_levels()
    fill(levels)
    loaded = load_formula(code=levels.formulas["lye"].code)
    batch = plan_batch(make_plan(loaded, Wish(target=BatterTarget(KG))), planned_on=TODAY)
    reserve_batch(batch.code)
    client = signed_in()
    refused = weigh(client, batch, "naoh", grams(line_of(batch, "naoh")))
    assert refused.status_code == 409 and "Stored lye grows hot" in text(refused)
    confirm(client, batch)
    for code in ("naoh", "water"):
        done = weigh(client, batch, code, grams(line_of(batch, code)), key="now")
        assert done.status_code == 303
    page = text(client.get(at("bench-page", batch)))
    assert "All 2 lines are weighed." in page and "Superfat" not in page


def test_a_soap_of_stored_lye_asks_whether_it_is_clear():
    bench = make_bench()
    add_stored(bench)
    stock(bench)
    batch, client = reserved(bench), signed_in()
    assert confirm(client, batch).status_code == 422
    ready = [caution.code for caution in (*READY, *STORED_READY)]
    assert client.post(at("bench-cautions-page", batch), {"ready": ready}).status_code == 303
    assert weigh(client, batch, "stored", grams(line_of(batch, "stored"))).status_code == 303


def test_too_much_alkali_is_said_as_danger():
    batch, client = reserved(), signed_in()
    confirm(client, batch)
    weigh(client, batch, "naoh", grams(line_of(batch, "naoh"), 40))
    page = text(client.get(at("bench-page", batch)))
    assert "lye-heavy" in page and "standing grave" in page


def test_temperatures_trace_and_a_note_are_kept():
    batch, client = reserved(), signed_in()
    sent = {"oil_temperature": "100 degF", "lye_temperature": "38 degC", "trace_minutes": "12"}
    done = client.post(at("bench-record-page", batch), {**sent, "note": "thin", "once": "k"})
    assert done.status_code == 303
    batch.refresh_from_db()
    assert round(batch.oil_temperature_c, 1) == Decimal("37.8") and batch.trace_minutes == 12
    assert batch.note == "thin"
    page = text(client.get(at("bench-record-page", batch)))
    assert 'value="37.8 degC"' in page and 'value="12"' in page
    hot = client.post(at("bench-record-page", batch), {"oil_temperature": "900 degC", "once": "h"})
    assert hot.status_code == 422 and "From 0 to 110 °C." in text(hot)
    assert 'value="900 degC"' in text(hot)
    client.post(at("bench-record-page", batch), {"note": "then thick", "once": "n"})
    batch.refresh_from_db()
    assert batch.trace_minutes == 12 and batch.note == "thin\nthen thick"
