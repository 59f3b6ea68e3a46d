"""What holds a lot stands on its page in words, with one button for who may lift it."""

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inventory.domain.stock.holds import Cause, NewHold
from inventory.models.shipping.recalls import Recall
from inventory.models.stock.holds import Hold
from inventory.services.shipping.recall import recall_lot
from inventory.services.stock.hold_verbs import hold_lot
from inventory.services.stock.holds import hold
from tests.inventory.making import KG, TODAY, make_lot, make_material
from tests.read_pages import read
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db


def signed_in(role="owner"):
    client = Client()
    client.force_login(person(role))
    return client


@pytest.fixture
def lot():
    return make_lot(make_material("olive"), 4 * KG)


def page_of(name, lot):
    recall = Recall.objects.filter(lot=lot).first() if name.startswith("recall-") else None
    return reverse(name, args=[(recall or lot).code])


def open_causes(lot):
    return set(Hold.objects.filter(lot=lot, lifted_at=None).values_list("cause", flat=True))


def test_each_hold_is_told_with_its_way_out_and_a_button_for_who_may(lot):
    recall = recall_lot(lot.code, "rancid")
    hold_lot(lot.pk, reason="smells")
    for cause, document in ((Cause.LYE, "batch:B-7"), (Cause.CURE, "opening:OL-1")):
        hold([lot.pk], NewHold(cause=cause, reason=cause.value, reference=document), on=TODAY)
    maker = read(signed_in("maker").get(page_of("lot-page", lot)))
    for words in ("smells", ": rancid", f"recall {recall.code}", "an owner decides"):
        assert words in maker
    for button in ("Release", "Lift the recall", "End its cure"):
        assert f">{button}</a>" in maker
    assert ">Decide</a>" not in maker
    assert ">Decide</a>" in read(signed_in().get(page_of("lot-page", lot)))
    viewer = read(signed_in("viewer").get(page_of("lot-page", lot)))
    assert "smells" in viewer
    assert not any(f">{button}</a>" in viewer for button in ("Release", "Lift the recall"))


def test_each_button_leads_to_the_end_of_its_hold(lot):
    recall_lot(lot.code, "rancid")
    hold_lot(lot.pk, reason="smells")
    for cause, document in ((Cause.LYE, "batch:B-7"), (Cause.CURE, "opening:OL-1")):
        hold([lot.pk], NewHold(cause=cause, reason=cause.value, reference=document), on=TODAY)
    client, today = signed_in(), timezone.localdate().isoformat()
    given = {
        "lot-release-page": ({"reason": "aired"}, "by-hand"),
        "recall-lift-page": ({"reason": "sound"}, "recall"),
        "lot-end-cure-page": ({"reason": "hard as stone"}, "cure"),
        "lot-decide-page": (
            {
                "cause": "lye-heavy",
                "outcome": "measured",
                "reason": "titrated",
                "free_alkali": "0.04 %",
                "measured_on": today,
                "on": today,
            },
            "lye-heavy",
        ),
    }
    for number, (name, (values, cause)) in enumerate(given.items()):
        assert cause in open_causes(lot)
        assert client.get(page_of(name, lot)).status_code == 200
        done = client.post(page_of(name, lot), {**values, "once": f"k-{number}"})
        assert done.status_code == 303 and cause not in open_causes(lot)
    told = read(client.get(page_of("lot-page", lot)))
    assert "0.04 % free alkali" in told and "hard as stone" in told
    lot.refresh_from_db()
    assert lot.state == "released"


def test_a_release_that_leaves_holds_says_which(lot):
    recall = recall_lot(lot.code, "rancid")
    hold_lot(lot.pk, reason="smells")
    client = signed_in("maker")
    given = {"reason": "aired", "once": "k-1"}
    done = client.post(page_of("lot-release-page", lot), given, follow=True)
    assert f"recall {recall.code} is lifted" in read(done)
    again = client.post(page_of("lot-release-page", lot), {**given, "once": "k-2"})
    assert again.status_code == 422 and f"recall {recall.code} is lifted" in read(again)


def test_deciding_is_for_owners_and_over_what_is_held_as_unsafe(lot):
    assert signed_in("maker").get(page_of("lot-decide-page", lot)).status_code == 403
    assert "nothing to decide" in read(signed_in().get(page_of("lot-decide-page", lot)))


@pytest.mark.parametrize(
    "name", ["lot-release-page", "lot-block-page", "recall-lift-page", "lot-decide-page"]
)
def test_without_a_reason_nothing_happens(lot, name):
    recall_lot(lot.code, "rancid")
    hold_lot(lot.pk, reason="smells")
    before = Hold.objects.count()
    done = signed_in().post(page_of(name, lot), {"reason": " ", "once": "k-1"})
    assert done.status_code == 422
    assert Hold.objects.count() == before and open_causes(lot) == {"recall", "by-hand"}


@pytest.mark.parametrize("along", [False, True])
def test_who_holds_a_lot_is_told_what_was_made_of_it(lot, along):
    soap = make_lot(make_material("soap"), KG, made_of={lot.pk: 1})
    client, tick = signed_in(), {"with_made_of": "on"} if along else {}
    asked = read(client.get(page_of("lot-block-page", lot)))
    assert f"{soap.code}</a> Soap" in asked and "still here: 1 lot<" in asked
    assert "And what was made of it" in asked
    given = {"reason": "smells", "once": "k-1", **tick}
    told = read(client.post(page_of("lot-block-page", lot), given, follow=True))
    assert open_causes(soap) == ({"by-hand"} if along else set())
    # The page says it as it is done, and as long as it is so.
    again = read(client.get(page_of("lot-page", lot)))
    for page, words in ((told, "Made of it and not held: "), (again, "Made of it and not held")):
        assert (words in page) is not along


def test_nothing_is_asked_of_what_nothing_was_made_of(lot):
    assert "And what was made of it" not in read(signed_in().get(page_of("lot-block-page", lot)))


def test_a_lot_held_by_a_table_tells_what_was_made_of_it(lot):
    soap = make_lot(make_material("soap"), KG, made_of={lot.pk: 1})
    hold_lot(lot.pk, reason="smells")
    page = read(signed_in().get(page_of("lot-page", lot)))
    assert "Made of it and not held" in page and page_of("lot-page", soap) in page
