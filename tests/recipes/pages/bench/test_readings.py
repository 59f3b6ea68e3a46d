"""One reading at the bench: in which units, how it is judged, and out of which lots."""

import pytest

from inventory.domain.stock.lots import LotState
from inventory.models.stock.lots import Lot
from inventory.models.stock.reservations import ReservationLine
from recipes.models.bench.batches import Weighing
from recipes.pages.bench.shown_bench import written
from recipes.paper.amounts import ounces_text
from studio.models import Preference
from tests.inventory.making import KG, make_lot
from tests.recipes.making import make_bench, stock
from tests.recipes.pages.bench.weighing import (
    G,
    at,
    grams,
    line_of,
    reserved,
    signed_in,
    text,
    weigh,
)
from tests.recipes.services.bench.test_sheets import add_stored
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db


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
    Lot.objects.filter(material__code="olive").update(state=LotState.BLOCKED.value)
    assert "must not be used" in text(client.get(at("bench-page", batch)))


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
