"""Nothing is made by counting: of what was made here no more is found than there can be."""

import pytest

from inventory.models.stock.lots import Lot
from recipes.models.bench.batches import Batch
from tests.doors.held_studio import WeighedStudio, nothing_of_stock_changes


@pytest.fixture
def studio(database):
    return WeighedStudio()


def by_api(studio, lot, found):
    return studio.owner.post(f"lots/{lot}/count/", {"found": found, "reason": "x"})


def by_page(studio, lot, found):
    day = str(studio.today)
    return studio.page(f"/shelf/lots/{lot}/count/", found=found, counted_on=day, reason="x")


def _opened(studio, lot, found):
    opened = {"counted_on": str(studio.today), "lots": [lot]}
    code = studio.owner.made("count-sessions/", opened)["code"]
    studio.owner.done(f"count-sessions/{code}/enter/", {"lines": [{"lot": lot, "found": found}]})
    return code


def by_session(studio, lot, found):
    code = _opened(studio, lot, found)
    return lambda: studio.owner.post(f"count-sessions/{code}/post/", {})


def by_session_page(studio, lot, found):
    code = _opened(studio, lot, found)
    return lambda: studio.page(f"/shelf/counts/{code}/close/")


def asked(door, studio, lot, found):
    """What is sent last of all; before it a session is opened, which moves nothing."""
    if door in (by_session, by_session_page):
        return door(studio, lot, found)
    return lambda: door(studio, lot, found)


def refused(door, studio, lot, found):
    last = asked(door, studio, lot, found)
    with nothing_of_stock_changes():
        answer = last()
    assert answer.status_code in (400, 409, 422), answer.content
    assert "was made here" in answer.content.decode()
    return answer


@pytest.mark.parametrize("door", [by_api, by_page, by_session, by_session_page])
def test_no_door_counts_soap_or_bars_to_more_than_were_made(studio, door):
    soap = Batch.objects.get(code=studio.poured)
    poured = soap.poured_lot.code
    refused(door, studio, poured, "5 kg")
    cut = {"bars_good": 8, "reason": "weighed", "good_weight": f"{studio.mass(studio.poured)} g"}
    studio.owner.done(f"batches/{studio.poured}/cut/", cut)
    refused(door, studio, poured, "4900 g")
    bars = Batch.objects.get(code=studio.poured).bar_lot.code
    refused(door, studio, bars, "9 each")
    # What was bought may be more than its invoice says.
    oil = Lot.objects.get(code=studio.oil)
    answer = asked(door, studio, oil.code, "30 kg")()
    assert answer.status_code in (200, 201, 303), answer.content


def test_the_api_names_the_field_and_says_what_was_made(studio):
    lot = Batch.objects.get(code=studio.poured).poured_lot.code
    fault = by_api(studio, lot, "5 kg").json()["errors"][0]
    assert (fault["code"], fault["field"]) == ("more-than-made", "found")
    assert f"{studio.mass(studio.poured)} g came out" in fault["detail"]
