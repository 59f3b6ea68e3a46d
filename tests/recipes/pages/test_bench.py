"""The bench by hand: one line after another, cautions before the lye, lots, and what is refused."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory.domain.lots import LotStatus
from inventory.models import Lot, ReservationLine
from recipes.domain.cautions import READY, STORED_READY
from recipes.domain.scaled import BatterTarget
from recipes.models import BatchLine, Weighing
from recipes.pages.shown_bench import written
from recipes.paper.amounts import ounces_text
from recipes.queries import load_formula
from recipes.services.actuals import Reading, weigh_line
from recipes.services.batches import cancel_batch, reserve_batch
from recipes.services.planning import Wish, make_plan, plan_batch
from recipes.services.pouring import Poured, pour_batch
from studio.models import Preference
from tests.inventory.making import KG, TODAY, make_lot
from tests.recipes.levels import fill, make_levels
from tests.recipes.making import make_bench, planned, stock
from tests.recipes.services.test_sheets import add_stored
from tests.studio.api.people import person

pytestmark = pytest.mark.django_db
G = KG // 1000


def signed_in(role="maker"):
    client = Client()
    client.force_login(person(role))
    return client


def reserved(bench=None):
    bench = bench or make_bench()
    if not Lot.objects.exists():
        stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    return batch


def at(name, batch, **query):
    return reverse(name, args=[batch.code], query=query or None)


def line_of(batch, code):
    return BatchLine.objects.get(batch=batch, material__code=code)


def grams(line, more=0):
    return f"{line.planned // G + more} g"


def confirm(client, batch, **more):
    ready = [caution.code for caution in READY]
    return client.post(at("bench-cautions-page", batch), {"ready": ready, **more})


def weigh(client, batch, code, amount, key="k", **more):
    line = line_of(batch, code)
    sent = {"position": line.position, "amount": amount, "once": f"{key}-{code}", **more}
    return client.post(at("bench-weigh-page", batch), sent)


def text(response):
    return response.content.decode()


def test_a_batch_is_weighed_line_by_line_until_all_is_done():
    batch, client = reserved(), signed_in()
    confirm(client, batch)
    rows = list(BatchLine.objects.filter(batch=batch).exclude(stage="pack").order_by("position"))
    seen = []
    for number, row in enumerate(rows):
        page = text(client.get(at("bench-page", batch)))
        assert f"{number} of {len(rows)}" in page
        following = next(row for row in rows if f'data-position="{row.position}"' in page)
        done = weigh(client, batch, following.material.code, grams(following))
        assert done.status_code == 303
        seen.append(following.position)
    assert sorted(seen) == [row.position for row in rows]
    page = text(client.get(at("bench-page", batch)))
    assert f"All {len(rows)} lines are weighed." in page and 'id="card"' not in page
    assert Weighing.objects.count() == len(rows)


def test_what_was_weighed_is_judged_and_can_be_weighed_again():
    batch, client = reserved(), signed_in()
    olive = line_of(batch, "olive")
    weigh(client, batch, "olive", grams(olive, 20))
    page = text(client.get(at("bench-page", batch, line=olive.position)))
    assert "over by 20 g" in page and 'class="card over"' in page
    weigh(client, batch, "olive", grams(olive), key="again")
    page = text(client.get(at("bench-page", batch, line=olive.position)))
    assert 'class="card inside"' in page
    standing = Weighing.objects.get(line=olive, set_aside_at__isnull=True)
    assert standing.amount == olive.planned and standing.written == grams(olive)


@pytest.mark.parametrize(("more", "word"), [(0, "inside"), (20, "over by 20 g"), (-20, "under by")])
def test_a_reading_is_judged_while_it_is_typed(more, word):
    batch, client = reserved(), signed_in()
    olive = line_of(batch, "olive")
    asked = {"position": olive.position, "amount": grams(olive, more)}
    assert word in text(client.get(at("bench-reading", batch), asked))
    assert Weighing.objects.count() == 0


def test_the_tolerance_holds_its_own_ends():
    batch, client = reserved(), signed_in()
    water = line_of(batch, "water")
    allowed = water.planned // 100 // G
    for more, word in ((allowed, "inside"), (allowed + 1, "over"), (-allowed - 1, "under")):
        asked = {"position": water.position, "amount": grams(water, more)}
        assert f'data-verdict="{word}"' in text(client.get(at("bench-reading", batch), asked))


@pytest.mark.parametrize(
    ("amount", "word"),
    [("", "required"), ("700", "Write the unit too"), ("0 g", "Leave it out"), ("2 m", "length")],
)
def test_what_cannot_be_read_is_refused_beside_the_field(amount, word):
    batch, client = reserved(), signed_in()
    refused = weigh(client, batch, "olive", amount)
    assert refused.status_code == 422 and word in text(refused)
    assert f'value="{amount}"' in text(refused) or not amount
    assert Weighing.objects.count() == 0


def test_leaving_a_line_out_is_said_and_stays_in_the_record():
    batch, client = reserved(), signed_in()
    done = weigh(client, batch, "scent", "", left_out="yes")
    assert done.status_code == 303
    assert Weighing.objects.get().amount == 0
    page = text(client.get(at("bench-page", batch)))
    assert "left out" in page and "1 of 5" in page


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
    monkeypatch.setattr("recipes.pages.bench_cautions.timezone.localdate", lambda: tomorrow)
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


def test_what_is_counted_is_read_in_pieces():
    bench = make_bench()
    add_stored(bench)
    stock(bench)
    batch, client = reserved(bench), signed_in()
    egg = line_of(batch, "egg")
    asked = {"position": egg.position, "amount": str(egg.planned + 1)}
    assert "over by 1 piece" in text(client.get(at("bench-reading", batch), asked))
    refused = weigh(client, batch, "egg", "100 g")
    assert refused.status_code == 422 and "What is counted" in text(refused)
    assert weigh(client, batch, "egg", str(egg.planned), key="right").status_code == 303
    assert Weighing.objects.get().amount == egg.planned


def test_another_lot_is_taken_and_held_at_once():
    bench = make_bench()
    stock(bench)
    batch = reserved(bench)
    second = make_lot(bench.materials["olive"], KG)
    client, olive = signed_in(), line_of(batch, "olive")
    page = text(client.get(at("bench-page", batch)))
    assert second.code in page
    first = Lot.objects.filter(material=olive.material).first()
    part = {"lot1": first.code, "amount1": "100 g", "lot2": second.code}
    refused = weigh(client, batch, "olive", grams(olive), **part)
    assert refused.status_code == 422 and f"How much of {second.code}?" in text(refused)
    part["amount2"] = f"{olive.planned // G - 100} g"
    assert weigh(client, batch, "olive", grams(olive), key="both", **part).status_code == 303
    held = ReservationLine.objects.get(lot=second)
    assert held.remaining == olive.planned - 100 * G


def test_a_lot_that_has_too_little_or_is_another_material_is_refused_beside_the_lot():
    bench = make_bench()
    stock(bench)
    batch = reserved(bench)
    small = make_lot(bench.materials["olive"], 10 * G)
    client, olive = signed_in(), line_of(batch, "olive")
    refused = weigh(client, batch, "olive", grams(olive), lot1=small.code)
    assert refused.status_code == 422 and f"id_line{olive.position}_lot1-error" in text(refused)
    water = Lot.objects.get(material__code="water")
    refused = weigh(client, batch, "olive", grams(olive), lot1=water.code)
    assert refused.status_code == 422 and f"id_line{olive.position}_lot1-error" in text(refused)
    assert Weighing.objects.count() == 0


def test_a_held_lot_that_was_blocked_meanwhile_is_marked():
    batch, client = reserved(), signed_in()
    Lot.objects.filter(material__code="olive").update(status=LotStatus.BLOCKED.value)
    assert "must not be used" in text(client.get(at("bench-page", batch)))


def test_the_same_key_weighs_once():
    batch, client = reserved(), signed_in()
    olive = line_of(batch, "olive")
    sent = {"position": olive.position, "amount": grams(olive)}
    for _ in range(2):
        done = client.post(at("bench-weigh-page", batch), sent, headers={"Idempotency-Key": "one"})
        assert done.status_code == 303
    assert Weighing.objects.count() == 1


def test_too_much_alkali_is_said_as_danger():
    batch, client = reserved(), signed_in()
    confirm(client, batch)
    weigh(client, batch, "naoh", grams(line_of(batch, "naoh"), 40))
    page = text(client.get(at("bench-page", batch)))
    assert "lye-heavy" in page and "standing grave" in page


def test_the_list_has_a_field_for_each_line_and_stays_the_list():
    batch, client = reserved(), signed_in()
    page = text(client.get(at("bench-page", batch, view="list")))
    assert page.count("data-weigh") == 3 and page.count("Read the cautions first") == 2
    confirm(client, batch)
    assert text(client.get(at("bench-page", batch, view="list"))).count("data-weigh") == 5
    olive = line_of(batch, "olive")
    refused = weigh(client, batch, "olive", "much", view="list")
    assert refused.status_code == 422 and 'value="much"' in text(refused)
    assert text(refused).count("data-weigh") == 5
    done = weigh(client, batch, "olive", grams(olive), key="right", view="list")
    assert done.url == at("bench-page", batch, view="list")


def test_only_a_reserved_batch_is_weighed():
    bench = make_bench()
    stock(bench)
    batch, client = planned(bench), signed_in()
    page = text(client.get(at("bench-page", batch)))
    assert "Reserve it first" in page and "data-weigh" not in page
    refused = weigh(client, batch, "olive", "700 g")
    assert refused.status_code == 422 and "planned" in text(refused)
    reserve_batch(batch.code)
    olive = line_of(batch, "olive")
    weigh_line(batch.code, Reading(position=olive.position, amount=olive.planned + 3 * G))
    pour_batch(batch.code, Poured(on=TODAY))
    page = text(client.get(at("bench-page", batch)))
    assert "in the mold" in page and "data-weigh" not in page
    assert f"{olive.planned // G + 3} g" in page
    other = planned(bench)
    cancel_batch(other.code, reason="no time")
    assert "called off" in text(client.get(at("bench-page", other)))


def test_a_viewer_looks_and_weighs_nothing():
    batch, client = reserved(), signed_in("viewer")
    for query in ({}, {"view": "list"}, {"line": line_of(batch, "naoh").position}):
        page = client.get(at("bench-page", batch, **query))
        assert page.status_code == 200 and "data-weigh" not in text(page)
    assert weigh(client, batch, "olive", "700 g").status_code == 403
    assert confirm(client, batch).status_code == 403


def test_unknown_batches_and_lines_are_not_found():
    batch, client = reserved(), signed_in()
    assert client.get("/batches/B-77777/bench/").status_code == 404
    sent = {"position": 999, "amount": "1 g", "once": "k"}
    assert client.post(at("bench-weigh-page", batch), sent).status_code == 404
    box = line_of(batch, "box").position
    assert client.post(at("bench-weigh-page", batch), {**sent, "position": box}).status_code == 404
    assert client.get(at("bench-page", batch, line="x")).status_code == 200
    assert client.get(at("bench-weigh-page", batch)).status_code == 303


def test_units_are_those_of_the_reader():
    batch, client = reserved(), signed_in()
    olive = line_of(batch, "olive").planned
    page = text(client.get(at("bench-page", batch)))
    assert f'data-fill="target">{olive // G} g<' in page
    assert f'data-fill="other">{ounces_text(olive)}<' in page
    client.force_login(reader := person("maker"))
    Preference.objects.create(user=reader, units="us")
    page = text(client.get(at("bench-page", batch)))
    assert f'data-fill="target">{ounces_text(olive)}<' in page


@pytest.mark.parametrize(
    ("amount", "units", "said"),
    [
        (G, "us", ("1 g", "0.04 oz")),
        (100 * G, "us", ("3.53 oz", "100 g")),
        (100 * G, "metric", ("100 g", "3.53 oz")),
    ],
)
def test_a_pinch_is_said_in_grams_to_everybody(amount, units, said):
    assert written(amount, counted=False, units=units) == said


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


def counted(client, place):
    with CaptureQueriesContext(connection) as seen:
        assert client.get(place).status_code == 200
    return len(seen)


def test_the_bench_asks_as_much_however_many_lots_and_readings_there_are():
    bench = make_bench()
    stock(bench)
    batch = reserved(bench)
    client = signed_in()
    confirm(client, batch)
    few = {view: counted(client, at("bench-page", batch, view=view)) for view in ("", "list")}
    for material in bench.materials.values():
        for _ in range(5):
            make_lot(material, 100 if material.counted else KG)
    for row in BatchLine.objects.filter(batch=batch).exclude(stage="pack")[:3]:
        weigh_line(batch.code, Reading(position=row.position, amount=row.planned))
    for view, queries in few.items():
        assert counted(client, at("bench-page", batch, view=view)) == queries <= 20
    asked = at("bench-reading", batch, position=0, amount="1 g")
    assert counted(client, asked) <= 5
