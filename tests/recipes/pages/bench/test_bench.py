"""The bench by hand: one line after another, the list, and who may weigh which batch."""

from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.domain.catalog.materials import MaterialKind as Kind
from recipes.domain.formulas.formula import Basis, Stage
from recipes.models.bench.batches import BatchLine, Weighing
from recipes.services.bench.actuals import Reading, weigh_line
from recipes.services.bench.batches import cancel_batch, reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.formulas.formulas import LineSpec, VersionSpec
from tests.inventory.making import KG, TODAY, make_lot, make_material
from tests.recipes.making import make_bench, next_version, planned, stock
from tests.recipes.pages.bench.weighing import (
    G,
    at,
    confirm,
    grams,
    line_of,
    reserved,
    signed_in,
    text,
    weigh,
)

pytestmark = pytest.mark.django_db


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


def test_leaving_a_line_out_is_said_and_stays_in_the_record():
    batch, client = reserved(), signed_in()
    done = weigh(client, batch, "scent", "", left_out="yes")
    assert done.status_code == 303
    assert Weighing.objects.get().amount == 0
    page = text(client.get(at("bench-page", batch)))
    assert "left out" in page and "1 of 5" in page


def test_the_same_key_weighs_once():
    batch, client = reserved(), signed_in()
    olive = line_of(batch, "olive")
    sent = {"position": olive.position, "amount": grams(olive)}
    for _ in range(2):
        done = client.post(at("bench-weigh-page", batch), sent, headers={"Idempotency-Key": "one"})
        assert done.status_code == 303
    assert Weighing.objects.count() == 1


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
    assert counted(client, asked) <= 6


def test_the_bench_asks_as_much_however_many_lines_there_are():
    bench = make_bench()
    client = signed_in()
    short = reserved(bench)
    shares = {"olive": "0.7", "coconut": "0.3"}
    lines = [
        LineSpec(material=bench.materials[code], basis=Basis.SHARE_OF_FATS, amount=Decimal(share))
        for code, share in shares.items()
    ]
    for number in range(12):
        clay = make_material(f"clay-{number}", kind=Kind.ADDITIVE.value)
        make_lot(clay, KG)
        lines.append(
            LineSpec(material=clay, basis=Basis.OF_FATS, amount=Decimal("0.01"), stage=Stage.TRACE)
        )
    settings = {"naoh": bench.materials["naoh"], "water": bench.materials["water"]}
    next_version(
        bench.formula,
        VersionSpec(
            lines=lines,
            superfat=Decimal("0.06"),
            lye_concentration=Decimal("0.33"),
            **settings,
        ),
    )
    long = reserved(bench)
    for view in ("", "list"):
        for batch in (short, long):
            confirm(client, batch)
        few = counted(client, at("bench-page", short, view=view))
        assert counted(client, at("bench-page", long, view=view)) == few <= 20
    assert text(client.get(at("bench-page", long, view="list"))).count("data-weigh") == 16
