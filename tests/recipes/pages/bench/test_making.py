"""From the pour to released bars by hand, with what is refused on the way."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.models.stock.lots import Lot
from recipes.models.bench.batches import Batch
from recipes.models.cure.finishing import CureChoice, CureWeighing
from recipes.services.bench.actuals import Reading, weigh_line
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.shelf import batch_rows
from studio.foundation.units.registry import NG_PER_G
from tests.inventory.making import TODAY
from tests.read_pages import read
from tests.recipes.making import make_bench, planned, stock
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db
MOST_QUERIES = 20


def signed_in(role="maker"):
    client = Client()
    client.force_login(person(role))
    return client


def reserved(**spec):
    bench = make_bench(**spec)
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    return batch


def look(client, name, batch):
    with CaptureQueriesContext(connection) as queries:
        answer = client.get(reverse(name, args=[batch.code]))
    assert answer.status_code == 200 and len(queries) <= MOST_QUERIES
    return read(answer)


def send(client, name, batch, key, **values):
    answer = client.post(reverse(name, args=[batch.code]), {"once": key, **values})
    batch.refresh_from_db()
    return answer


def poured(client, batch, **values):
    return send(client, "pour-page", batch, "pour", on=TODAY.isoformat(), **values)


def cut(client, batch, **values):
    given = {"on": TODAY.isoformat(), "bars_good": "7", "bars_rejected": "1", **values}
    return send(client, "cut-page", batch, "cut", **given)


def test_a_batch_is_poured_cut_weighed_and_released_by_hand():
    batch, client = reserved(), signed_in()
    page = look(client, "pour-page", batch)
    assert "count as planned" in page and "Lye burns" in page
    given = {"oil_temperature": "104 degF", "trace_minutes": "12", "poured": "1 kg"}
    assert poured(client, batch, minutes="70", **given).status_code == 303
    assert batch.state == "poured" and batch.oil_temperature_c == Decimal(40)
    assert (batch.trace_minutes, batch.mix_minutes) == (12, 70)
    assert batch.poured_lot.on_hand == 1000 * NG_PER_G

    assert "8 bars" in look(client, "cut-page", batch)
    assert cut(client, batch, minutes="10", good_weight="0.9 kg").status_code == 303
    assert (batch.state, batch.bars_good, batch.bars_rejected) == ("cut", 7, 1)
    assert batch.cut_record.good_weight == 900 * NG_PER_G

    assert "Weigh a few bars on three days" in look(client, "cure-page", batch)
    release = look(client, "release-page", batch)
    assert "earlier only with a reason" in release or "are cured since" in release
    ready = batch.cure_ready_on.isoformat()
    done = send(client, "release-page", batch, "go", on=ready, minutes="20", **packed(batch, "7"))
    assert done.status_code == 303 and batch.state == "cured"
    assert (batch.bar_lot.state, batch.bar_lot.on_hand) == ("released", 7)
    assert Lot.objects.get(material__code="box").on_hand == 93


def packed(batch, amount):
    box = next(row for row in batch_rows(batch) if row.stage == "pack")
    return {f"packed_{box.material_id}": f"{amount} each"}


def test_nothing_is_poured_twice_by_the_same_form():
    batch, client = reserved(), signed_in()
    first, second = poured(client, batch), poured(client, batch)
    assert first.status_code == second.status_code == 303
    assert batch.poured_lot is not None and Lot.objects.filter(code=batch.poured_lot.code).count()


def test_a_lye_heavy_batch_says_so_before_and_after():
    batch, client = reserved(), signed_in()
    alkali = next(row for row in batch_rows(batch) if row.material.code == "naoh")
    weigh_line(batch.code, Reading(position=alkali.position, amount=alkali.planned * 13 // 10))
    assert "lye-heavy as weighed" in look(client, "pour-page", batch)
    assert poured(client, batch).status_code == 303
    assert batch.poured_lot.state == "blocked"
    assert "Its bars will be blocked too" in look(client, "cut-page", batch)
    cut(client, batch)
    assert "cannot be released" in look(client, "release-page", batch)


@pytest.mark.parametrize(
    ("field", "typed", "told"),
    [
        ("oil_temperature", "400 degC", "From 0 to 110"),
        ("lye_temperature", "warm", "Begin with a number"),
        ("poured", "11 t", ""),
        ("poured", "0 g", "more than nothing"),
        ("poured", "10001 kg", "at most 10 t"),
        ("trace_minutes", "-1", "greater than or equal to 0"),
    ],
)
def test_what_cannot_be_measured_is_refused_beside_its_field(field, typed, told):
    batch, client = reserved(), signed_in()
    answer = poured(client, batch, note="kept words", **{field: typed})
    page = read(answer)
    assert answer.status_code == 422 and told in page and "kept words" in page
    assert batch.state == "reserved" and batch.oil_temperature_c is None


def test_a_cut_that_cannot_have_been_is_refused():
    batch, client = reserved(), signed_in()
    poured(client, batch)
    for values, told in (
        ({"bars_rejected_abnormal": "2"}, "among all rejects"),
        ({"on": (TODAY - timedelta(days=1)).isoformat()}, "It was poured on"),
        ({"keep_ends": "on"}, "Weigh the ends"),
        ({"bars_good": "0", "bars_rejected": "0"}, "at least one bar"),
    ):
        answer = cut(client, batch, **values)
        assert answer.status_code == 422 and told in read(answer)
    assert batch.state == "poured"


def weighed(client, batch, day, weights):
    on = (batch.cut_on + timedelta(days=day)).isoformat()
    rows = {"bars-TOTAL_FORMS": str(len(weights)), "bars-INITIAL_FORMS": str(len(weights))}
    for index, weight in enumerate(weights):
        rows |= {f"bars-{index}-bar": str(index + 1), f"bars-{index}-weight": weight}
    return send(client, "cure-weigh-page", batch, f"w{day}", on=on, **rows)


def test_bars_are_weighed_and_the_date_they_predict_is_accepted_and_taken_back():
    batch, client = reserved(), signed_in()
    poured(client, batch)
    assert "from the cut on" in look(client, "cure-page", batch)
    cut(client, batch)
    for day, grams in ((1, 142), (4, 138), (7, 135), (14, 130), (21, 127)):
        answer = weighed(client, batch, day, [f"{grams} g", f"{grams + 1} g", ""])
        assert answer.status_code == 303
    assert CureWeighing.objects.filter(batch=batch).count() == 10
    page = look(client, "cure-page", batch)
    assert "The weighings say" in page and "net, for a first sale on" in page
    by_recipe = batch.cure_ready_on
    wrong = send(client, "cure-date-page", batch, "x", ready_on="2030-01-01")
    assert wrong.status_code == 422 and "Choose one of these" in read(wrong)
    predicted = page.split('name="ready_on" value="')[1].split('"')[0]
    assert send(client, "cure-date-page", batch, "y", ready_on=predicted).status_code == 303
    assert batch.cure_ready_on.isoformat() == predicted != by_recipe.isoformat()
    assert CureChoice.objects.get(batch=batch).kind == "accepted"
    assert "Back to the recipe" in look(client, "cure-page", batch)
    send(client, "cure-date-page", batch, "z", ready_on=by_recipe.isoformat())
    assert batch.cure_ready_on == by_recipe


def test_weights_that_cannot_be_are_refused_and_nothing_typed_is_lost():
    batch, client = reserved(), signed_in()
    poured(client, batch)
    cut(client, batch)
    answer = weighed(client, batch, 3, ["150 g", "0 g", "heavy"])
    page = read(answer)
    assert answer.status_code == 422 and "more than nothing" in page
    assert 'value="150 g"' in page and 'value="heavy"' in page
    assert weighed(client, batch, 3, ["", ""]).status_code == 422
    assert not CureWeighing.objects.exists()


def test_bars_are_released_early_only_with_a_reason():
    batch, client = reserved(), signed_in()
    poured(client, batch)
    cut(client, batch)
    early = {"on": batch.cut_on.isoformat(), **packed(batch, "7")}
    answer = send(client, "release-page", batch, "a", **early)
    assert answer.status_code == 422 and "give a reason" in read(answer)
    answer = send(client, "release-page", batch, "b", early_reason="A fair tomorrow", **early)
    assert answer.status_code == 303 and batch.state == "cured"
    assert CureChoice.objects.get(batch=batch).reason == "A fair tomorrow"


def test_more_packaging_than_there_is_is_refused():
    batch, client = reserved(), signed_in()
    poured(client, batch)
    cut(client, batch)
    given = {"on": batch.cure_ready_on.isoformat(), **packed(batch, "500")}
    answer = send(client, "release-page", batch, "a", **given)
    assert answer.status_code == 422 and "Box" in read(answer)
    assert batch.state == "cut"


def test_each_page_says_what_comes_first_where_the_batch_is_not_there_yet():
    batch, client = reserved(), signed_in()
    for name in ("cut-page", "cure-page", "release-page"):
        assert "It is not poured yet" in look(client, name, batch)
    refused = send(client, "cut-page", batch, "early", on=TODAY.isoformat(), bars_good="8")
    assert refused.status_code == 409 and batch.state == "reserved"
    poured(client, batch)
    assert "It is in its mold" in look(client, "pour-page", batch)


def test_a_viewer_sees_the_cure_and_changes_nothing():
    batch, client = reserved(), signed_in()
    poured(client, batch)
    cut(client, batch)
    viewer = signed_in("viewer")
    assert "Weigh bars" not in look(viewer, "cure-page", batch)
    for name in ("pour-page", "cut-page", "release-page"):
        assert viewer.get(reverse(name, args=[batch.code])).status_code == 403
    assert Batch.objects.get(pk=batch.pk).state == "cut"
