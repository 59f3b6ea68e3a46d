"""Counts of many lots: begun over a scope, entered blind and one by one, posted at once."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory.domain.stock.ledger import Verb
from inventory.models.counting.counts import CountLine, CountSession
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Location, Lot
from inventory.services.counting.sessions import FoundLot, NewSession, enter_finds, open_session
from inventory.services.stock.consumption import draw
from inventory.services.stock.ledger import Origin
from inventory.services.stock.locations import move_lot
from inventory.services.stock.reservations import Holding, reserve
from studio.foundation.units.grammar import parse_quantity
from tests.form_values import form_of
from tests.inventory.making import KG, TODAY, make_lot, make_material
from tests.read_pages import read
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db
MOST_QUERIES = 14


def signed_in(role="owner"):
    client = Client()
    client.force_login(person(role))
    return client


def look(client, address):
    with CaptureQueriesContext(connection) as queries:
        answer = client.get(address)
    assert answer.status_code == 200
    return read(answer), len(queries)


def standing(place, lot):
    return move_lot(lot.pk, place.code)


def shelf():
    rack = Location.objects.create(code="rack", name="Low rack", kind="shelf")
    olive = make_material("olive", density_g_ml="0.915")
    return [
        standing(rack, make_lot(olive, 5 * KG, 500_000)),
        make_lot(olive, 3 * KG, 300_000),
        standing(rack, make_lot(make_material("box", kind="packaging", counted=True), 40, 80_000)),
    ]


def begun(lots=(), **scope):
    codes = [lot.code for lot in lots]
    new = NewSession(counted_on=timezone.localdate(), lots=codes, **scope)
    return open_session(new).code


def enter(client, code, lot, found, *, once="11111111-1111-4111-8111-111111111111", **given):
    address = f"/shelf/counts/{code}/lots/{lot.code}/"
    headers = given.pop("headers", {})
    return client.post(address, {"once": once, "found": found, **given}, headers=headers)


def key(number):
    return f"11111111-1111-4111-8111-{number:012d}"


def close_form(client, code, **given):
    page, _ = look(client, f"/shelf/counts/{code}/close/")
    return client.post(f"/shelf/counts/{code}/close/", {**form_of(page), **given})


@pytest.mark.parametrize(
    ("asked", "lots"),
    [
        ({}, {0, 1, 2}),
        ({"location": "rack"}, {0, 2}),
        ({"kinds": ["packaging"]}, {2}),
        ({"location": "rack", "kinds": ["fat"]}, {0}),
    ],
)
def test_a_count_is_begun_over_all_a_place_or_kinds(asked, lots):
    made = shelf()
    client = signed_in()
    page, _ = look(client, "/shelf/counts/new/")
    answer = client.post("/shelf/counts/new/", {**form_of(page), **asked})
    assert answer.status_code == 303, read(answer)
    assert answer["Location"] == "/shelf/counts/C-00001/"
    on_sheet = set(CountLine.objects.values_list("lot__code", flat=True))
    assert on_sheet == {made[index].code for index in lots}


@pytest.mark.parametrize("field", ["counted_on", "location"])
def test_what_cannot_be_counted_is_refused_beside_the_field(field):
    shelf()
    Location.objects.create(code="attic", name="Attic", kind="shelf")
    client = signed_in()
    given = form_of(look(client, "/shelf/counts/new/")[0]) | {"note": "typed at length"}
    tomorrow = timezone.localdate() + timedelta(days=1)
    wrong = {"counted_on": tomorrow.isoformat(), "location": "attic"}[field]
    told = {"counted_on": "is dated today or earlier", "location": "0 lots to count"}[field]
    answer = client.post("/shelf/counts/new/", {**given, field: wrong})
    page = read(answer)
    assert answer.status_code == 422 and told in page and f'id="id_{field}-error"' in page
    assert "typed at length" in page and not CountSession.objects.exists()


def test_the_sheet_is_blind_and_keeps_each_find():
    oil, more, box = lots = shelf()
    client = signed_in()
    code = begun(lots)
    page, _ = look(client, f"/shelf/counts/{code}/")
    assert "0 of 3" in page and "Low rack" in page
    assert "5 kg" not in page and "40 pieces" not in page
    answer = enter(client, code, oil, "2 L", reason="spilled")
    assert answer.status_code == 303
    assert answer["Location"] == f"/shelf/counts/{code}/#lot-{oil.code}"
    # 2 L of 0.915 g/mL
    assert CountLine.objects.get(lot=oil).found == 1_830 * KG // 1000
    page, _ = look(client, f"/shelf/counts/{code}/")
    assert "1 of 3" in page and "1.83 kg" in page and "spilled" in page
    left, _ = look(client, f"/shelf/counts/{code}/?left=on")
    assert oil.code not in left and more.code in left and box.code in left
    named, _ = look(client, f"/shelf/counts/{code}/?q=box")
    assert box.code in named and more.code not in named
    oil.refresh_from_db()
    assert oil.on_hand == 5 * KG


def test_a_find_that_cannot_be_comes_back_beside_its_row():
    oil, _, box = lots = shelf()
    client = signed_in()
    code = begun(lots)
    for number, (lot, typed, told) in enumerate(
        [(oil, "some", ""), (box, "2 kg", ""), (oil, "-2 kg", ""), (oil, "", "required")]
    ):
        answer = enter(client, code, lot, typed, once=key(number), reason="typed at length")
        page = read(answer)
        assert answer.status_code == 422 and told in page
        assert f'id="{lot.code}-found-error"' in page
        assert not typed or f'value="{typed}"' in page
        assert "typed at length" in page
    # What was typed is shown also where the filter leaves the row out.
    address = f"/shelf/counts/{code}/lots/{oil.code}/?q=box"
    answer = client.post(address, {"once": key(9), "found": "some"})
    assert answer.status_code == 422 and 'value="some"' in read(answer)
    assert not CountLine.objects.filter(found__isnull=False).exists()


def test_with_a_script_only_the_row_and_the_progress_come_back():
    oil, *_ = lots = shelf()
    client = signed_in()
    code = begun(lots)
    answer = enter(client, code, oil, "4 kg", headers={"HX-Request": "true"})
    page = read(answer)
    assert answer.status_code == 200 and "<html" not in page
    assert f'id="lot-{oil.code}"' in page and "1 of 3" in page and "hx-swap-oob" in page
    # Sent again with the same key it is the same answer, not a second find.
    at = CountLine.objects.get(lot=oil).counted_at
    enter(client, code, oil, "4 kg", headers={"HX-Request": "true"})
    assert CountLine.objects.get(lot=oil).counted_at == at


def test_differences_are_shown_first_then_posted_all_at_once():
    oil, more, box = lots = shelf()
    client = signed_in()
    code = begun(lots)
    enter(client, code, oil, "4.5 kg", once=key(1), reason="spilled")
    enter(client, code, box, "41 each", once=key(2))
    page, _ = look(client, f"/shelf/counts/{code}/close/")
    # 0.5 of 5 kg at 50.00, and one box at 0.20
    assert "2 lots" in page and "-$5.00" in page and "spilled" in page
    refused = close_form(client, code)
    assert refused.status_code == 422 and "1 lot is not counted yet" in read(refused)
    assert not StockEntry.objects.filter(verb=Verb.COUNT.value).exists()
    posted = close_form(client, code, leave_uncounted="on")
    assert posted.status_code == 303
    balances = list(Lot.objects.order_by("pk").values_list("on_hand", flat=True))
    assert balances == [4_500 * KG // 1000, 3 * KG, 41]
    page, _ = look(client, f"/shelf/counts/{code}/")
    assert "Posted" in page and "2 of 2" in page and oil.code in page
    assert client.get(f"/shelf/counts/{code}/close/").status_code == 303
    late = enter(client, code, more, "1 kg", once=key(3))
    assert late.status_code == 303 and late["Location"] == f"/shelf/counts/{code}/"
    lot_page, _ = look(client, f"/shelf/lots/{oil.code}/")
    assert f'href="/shelf/counts/{code}/"' in lot_page


@pytest.mark.parametrize(("when", "left"), [("after-count", 3), ("before-count", 4)])
def test_of_a_lot_that_moved_it_is_asked_when(when, left):
    oil, *_ = shelf()
    client = signed_in()
    code = begun([oil])
    enter(client, code, oil, "4 kg")
    draw(oil.pk, KG, origin=Origin(reference="batch:1"))
    assert "moved in the books since" in look(client, f"/shelf/counts/{code}/")[0]
    refused = close_form(client, code)
    page = read(refused)
    assert refused.status_code == 422 and f'id="id_moved-{oil.code}-error"' in page
    answer = close_form(client, code, **{f"moved-{oil.code}": when})
    assert answer.status_code == 303, read(answer)
    oil.refresh_from_db()
    assert oil.on_hand == left * KG


def test_less_than_is_reserved_is_told_beside_the_lot_and_nothing_is_posted():
    oil, _, box = lots = shelf()
    reserve(Holding(needs={oil.material_id: 4 * KG}, holder="batch:1", on=TODAY))
    client = signed_in()
    code = begun([oil, box])
    enter(client, code, oil, "1 kg", once=key(1))
    enter(client, code, box, "1 each", once=key(2))
    answer = close_form(client, code)
    page = read(answer)
    assert answer.status_code == 422 and "release the reservation first" in page
    assert page.index(f"lots/{oil.code}/") < page.index("less than the 4000 g reserved")
    assert [Lot.objects.get(pk=lot.pk).on_hand for lot in lots] == [5 * KG, 3 * KG, 40]


def test_a_count_is_given_up_and_nothing_is_posted():
    oil, *_ = shelf()
    client = signed_in()
    code = begun([oil])
    enter(client, code, oil, "4 kg")
    assert "can still be read" in look(client, f"/shelf/counts/{code}/cancel/")[0]
    assert client.post(f"/shelf/counts/{code}/cancel/").status_code == 303
    page, _ = look(client, f"/shelf/counts/{code}/")
    assert "Cancelled" in page and "4 kg" in page
    assert not StockEntry.objects.filter(verb=Verb.COUNT.value).exists()


def test_who_sees_no_costs_sees_amounts_only_and_a_viewer_writes_nothing():
    oil, *_ = shelf()
    code = begun([oil])
    maker = signed_in("maker")
    enter(maker, code, oil, "4 kg")
    page, _ = look(maker, f"/shelf/counts/{code}/close/")
    assert "4 kg" in page and "$" not in page
    viewer = signed_in("viewer")
    page, _ = look(viewer, f"/shelf/counts/{code}/")
    assert oil.code in page and 'name="found"' not in page
    for address in ("new/", f"{code}/close/", f"{code}/cancel/"):
        assert viewer.get(f"/shelf/counts/{address}").status_code == 403
    assert enter(viewer, code, oil, "4 kg", once=key(2)).status_code == 403


def counted_in_part(code, lots):
    found = parse_quantity("900 g")
    enter_finds(code, [FoundLot(lot=lot.code, found=found) for lot in lots])


def test_as_many_queries_for_many_lots_and_counts_as_for_few():
    olive = make_material("olive")
    client = signed_in()
    asked = []
    for size in (5, 195):
        lots = [make_lot(olive, KG, 1000) for _ in range(size)]
        code = begun(lots)
        counted_in_part(code, lots[: size // 2])
        for _ in range(size - 1):
            begun(lots[:1])
        asked.append(
            [
                look(client, address)[1]
                for address in (
                    "/shelf/counts/",
                    f"/shelf/counts/{code}/",
                    f"/shelf/counts/{code}/close/",
                )
            ]
        )
    assert asked[0] == asked[1] and max(asked[0]) <= MOST_QUERIES
