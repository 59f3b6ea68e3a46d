"""The pages of the cure and the release: weights, dates with their reason, labels, packing."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inventory.models.stock.lots import Lot
from inventory.services.stock.hold_verbs import hold_lot
from recipes.models.cure.finishing import CureChoice, CureWeighing
from recipes.queries.cure.cure import cure_of
from recipes.queries.labels.net_weight import NetWeightQuestion, net_weight_of
from recipes.services.bench.batches import reserve_batch
from studio.models import Preference
from tests.read_pages import read
from tests.recipes.making import make_bench, planned, stock
from tests.recipes.pages.bench.test_making import (
    cut,
    look,
    packed,
    poured,
    reserved,
    send,
    signed_in,
)
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db
DRYING = ((1, 142), (4, 138), (7, 135), (14, 130), (21, 127))


def curing():
    batch, client = reserved(), signed_in()
    poured(client, batch)
    cut(client, batch)
    return batch, client


def weighed(client, batch, day, *weights, first=1):
    on = (batch.cut_on + timedelta(days=day)).isoformat()
    rows = {"bars-TOTAL_FORMS": str(len(weights)), "bars-INITIAL_FORMS": "0"}
    for index, weight in enumerate(weights):
        rows |= {f"bars-{index}-bar": str(first + index), f"bars-{index}-weight": weight}
    return send(client, "cure-weigh-page", batch, f"w{day}-{first}", on=on, **rows)


def dry(client, batch, days=DRYING):
    for day, grams in days:
        weighed(client, batch, day, f"{grams} g", f"{grams + 1} g", f"{grams + 2} g")


def test_a_curve_wants_three_days_and_the_page_says_how_many_there_are():
    batch, client = curing()
    dry(client, batch, DRYING[:2])
    page = look(client, "cure-page", batch)
    assert "A curve needs weighings on 3 different days; there are 2." in page
    assert "The weighings say" not in page
    dry(client, batch, DRYING[2:3])
    page = look(client, "cure-page", batch)
    assert "fitted curve" in page and "weighings on a fourth day say how sure" in page
    dry(client, batch, DRYING[3:])
    assert "with 95 % confidence" in look(client, "cure-page", batch)


def test_each_bar_stands_with_its_day_and_is_offered_again():
    batch, client = curing()
    weighed(client, batch, 1, "142 g", "5 oz", first=3)
    weighed(client, batch, 4, "138 g", first=3)
    page = look(client, "cure-page", batch)
    assert "Bar 3</th>" in page and "Bar 4</th>" in page and "Bar 1</th>" not in page
    assert "141.7 g" in page and "\N{EN DASH}</span>" in page
    assert 'name="bars-0-bar" value="3"' in page and 'name="bars-1-bar" value="4"' in page
    assert "bars-2-bar" not in page


def test_a_bar_weighed_again_on_its_day_has_its_new_weight():
    batch, client = curing()
    weighed(client, batch, 1, "142 g", "143 g")
    weighed(client, batch, 1, "141 g", first=2)
    assert [one.weight // 10**9 for one in CureWeighing.objects.order_by("bar")] == [142, 141]


def test_a_date_is_accepted_with_its_reason():
    batch, client = curing()
    dry(client, batch)
    predicted = cure_of(batch.code).predicted.on
    page = look(client, "cure-page", batch)
    assert f'name="ready_on" value="{predicted}"' in page
    given = {"ready_on": predicted.isoformat(), "reason": "They ring like stone"}
    answer = client.post(
        reverse("cure-date-page", args=[batch.code]), {"once": "d", **given}, follow=True
    )
    told = read(answer)
    assert f"{batch.code} cures until {predicted}" in told and "They ring like stone" in told
    choice = CureChoice.objects.get(batch=batch)
    assert (choice.ready_on, choice.reason) == (predicted, "They ring like stone")


def test_a_date_that_no_longer_holds_is_refused_and_the_reason_is_not_lost():
    batch, client = curing()
    answer = send(client, "cure-date-page", batch, "d", ready_on="2031-01-01", reason="kept words")
    page = read(answer)
    assert answer.status_code == 422 and "kept words" in page and "Choose one of these" in page


@pytest.mark.parametrize(
    ("weights", "first", "told"),
    [
        (["142 g", "0 g"], 1, "more than nothing"),
        (["142 g", "200 kg"], 1, "at most 100 kg"),
        (["a lot"], 1, "a lot"),
        (["142 g"], 0, "greater than or equal to 1"),
        ([""], 1, "Weigh at least one bar"),
    ],
)
def test_weights_that_cannot_be_are_told_and_stay_typed(weights, first, told):
    batch, client = curing()
    answer = weighed(client, batch, 3, *weights, first=first)
    page = read(answer)
    assert answer.status_code == 422 and told in page
    assert all(f'value="{weight}"' in page for weight in weights if weight)
    assert not CureWeighing.objects.exists()


def test_a_bar_given_twice_and_a_day_before_the_cut_are_refused():
    batch, client = curing()
    rows = {"bars-TOTAL_FORMS": "2", "bars-INITIAL_FORMS": "0"}
    rows |= {f"bars-{row}-{name}": "2" for row in (0, 1) for name in ("bar",)}
    rows |= {"bars-0-weight": "140 g", "bars-1-weight": "141 g", "on": batch.cut_on.isoformat()}
    assert "Bar 2 is given twice." in read(send(client, "cure-weigh-page", batch, "t", **rows))
    early = weighed(client, batch, -1, "140 g")
    assert early.status_code == 422 and "It was cut on" in read(early)
    assert not CureWeighing.objects.exists()


def test_bars_in_the_mold_are_not_weighed():
    batch, client = reserved(), signed_in()
    poured(client, batch)
    rows = {"bars-TOTAL_FORMS": "1", "bars-INITIAL_FORMS": "0", "bars-0-bar": "1"}
    given = {"on": batch.poured_on.isoformat(), "bars-0-weight": "140 g", **rows}
    answer = send(client, "cure-weigh-page", batch, "w", **given)
    assert answer.status_code == 422 and "no good bars to weigh" in read(answer)
    assert "Bars are weighed from the cut on" in look(client, "cure-page", batch)


def test_the_label_is_told_once_two_bars_were_weighed_on_one_day():
    batch, client = curing()
    for name in ("cure-page", "release-page"):
        assert "once two bars or more" in look(client, name, batch)
    dry(client, batch)
    for name in ("cure-page", "release-page"):
        page = look(client, name, batch)
        assert "net, for a first sale on" in page and "not a legal decision" in page


def test_the_cure_can_be_looked_at_after_the_release():
    batch, client = curing()
    dry(client, batch)
    send(
        client, "release-page", batch, "go", on=batch.cure_ready_on.isoformat(), **packed(batch, 7)
    )
    page = look(client, "cure-page", batch)
    assert "Released on" in page and "fitted curve" in page and "Let " not in page
    assert "Weigh bars after their release" in page
    predicted = cure_of(batch.code).predicted.on.isoformat()
    refused = send(client, "cure-date-page", batch, "late", ready_on=predicted)
    assert refused.status_code == 422 and "not curing" in read(refused)


def test_early_is_by_the_day_of_the_release_and_the_reason_is_asked_beside_its_field():
    bench = make_bench()
    stock(bench)
    today = timezone.localdate()
    batch = planned(bench, on=today)
    reserve_batch(batch.code)
    client = signed_in()
    send(client, "pour-page", batch, "p", on=today.isoformat())
    send(client, "cut-page", batch, "c", on=today.isoformat(), bars_good="8")
    assert "earlier only with a reason" in look(client, "release-page", batch)
    assert "Release bars early" in look(client, "batch-page", batch)
    given = {"on": today.isoformat(), "note": "kept words", **packed(batch, 8)}
    answer = send(client, "release-page", batch, "a", **given)
    page = read(answer)
    assert answer.status_code == 422 and "kept words" in page
    assert 'id="id_early_reason-error"' in page and "earlier only with a reason" in page


def test_what_is_short_is_told_beside_what_it_is_packed_with():
    batch, client = curing()
    box = Lot.objects.get(material__code="box")
    given = {"on": batch.cure_ready_on.isoformat(), **packed(batch, 500)}
    answer = send(client, "release-page", batch, "a", **given)
    page = read(answer)
    assert answer.status_code == 422 and f'id="id_packed_{box.material_id}-error"' in page
    assert 'value="500 each"' in page and box.on_hand == 100


@pytest.mark.parametrize("typed", ["8 g", "-1 each", "half", ""])
def test_packing_that_cannot_be_is_refused(typed):
    batch, client = curing()
    name = next(iter(packed(batch, 7)))
    given = {"on": batch.cure_ready_on.isoformat(), name: typed}
    answer = send(client, "release-page", batch, "a", **given)
    assert answer.status_code == 422 and f'id="id_{name}-error"' in read(answer)
    assert batch.state == "cut"


def test_bars_that_were_blocked_meanwhile_are_not_released():
    batch, client = curing()
    hold_lot(batch.bar_lot_id, reason="recalled with its oil")
    page = look(client, "release-page", batch)
    assert "recalled with its oil" in page and "<button>Release bars" not in page
    assert "recalled with its oil" in look(client, "cure-page", batch)
    given = {"on": batch.cure_ready_on.isoformat(), **packed(batch, 7)}
    assert send(client, "release-page", batch, "a", **given).status_code == 422
    assert batch.state == "cut" and Lot.objects.get(material__code="box").on_hand == 100


def test_the_recipes_date_can_hold_again_with_a_reason():
    batch, client = curing()
    dry(client, batch)
    by_recipe, predicted = batch.cure_ready_on, cure_of(batch.code).predicted.on
    send(client, "cure-date-page", batch, "a", ready_on=predicted.isoformat())
    page = look(client, "cure-page", batch)
    assert "what the bars weighed" in page and "Go back to the recipe" in page
    given = {"ready_on": by_recipe.isoformat(), "reason": "Still soft"}
    assert send(client, "cure-date-page", batch, "b", **given).status_code == 303
    assert batch.cure_ready_on == by_recipe
    assert "Still soft" in look(client, "cure-page", batch)


@pytest.mark.parametrize("units", ["metric", "us"])
def test_a_label_overstates_in_neither_unit(units):
    batch, _ = curing()
    maker, client = person("maker"), Client()
    Preference.objects.create(user=maker, units=units)
    client.force_login(maker)
    dry(client, batch)
    net = net_weight_of(batch.code, NetWeightQuestion())
    page = look(client, "cure-page", batch)
    grams = f"{net.label.label // 10**9} g"
    ounces = Decimal(net.label.label) / Decimal("28349523125")
    assert net.ounces <= ounces < net.ounces + Decimal("0.01")
    first, second = (
        (grams, f"{net.ounces} oz") if units == "metric" else (f"{net.ounces} oz", grams)
    )
    assert f"<strong>{first}</strong>, {second}, net" in page
