"""Lots named by hand before a batch is reserved: unsafe soap stands there for an owner alone."""

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.domain.stock.holds import Cause, NewHold
from inventory.models.stock.lots import Lot
from inventory.models.stock.reservations import Reservation, ReservationLine
from inventory.services.stock.hold_verbs import hold_lot
from inventory.services.stock.holds import hold
from recipes.services.bench.batches import reserve_batch
from tests.inventory.making import KG, TODAY, make_lot
from tests.read_pages import read
from tests.recipes.making import make_bench, planned, stock
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db
MOST_QUERIES = 16


def signed_in(role="maker"):
    client = Client()
    client.force_login(person(role))
    return client


@pytest.fixture
def bench():
    bench = make_bench()
    stock(bench)
    return bench


def place(batch):
    return reverse("batch-choose-page", args=[batch.code])


def send(client, batch, **values):
    return client.post(place(batch), {"once": "k-1", **values})


def unsafe(bench, *more):
    """A lot of the oil that is held as lye-heavy, as if it were soap to rebatch."""
    lot = make_lot(bench.materials["olive"], 20 * KG)
    for cause in (Cause.LYE, *more):
        new = NewHold(cause=cause, reason=f"{cause.value} as weighed", reference="batch:B-7")
        hold([lot.pk], new, on=TODAY)
    return lot


def held(batch):
    lines = ReservationLine.objects.filter(reservation__holder=f"batch:{batch.code}")
    return {line.lot.code: line.remaining for line in lines.select_related("lot")}


def test_ticked_lots_are_used_first_and_the_rest_as_always(bench):
    batch = planned(bench)
    late = make_lot(bench.materials["olive"], 20 * KG)
    client = signed_in()
    page = read(client.get(place(batch)))
    assert late.code in page and "Olive" in page and "unsafe" not in page
    assert reverse("batch-choose-page", args=[batch.code]) in read(
        client.get(reverse("batch-page", args=[batch.code]))
    )
    done = send(client, batch, **{f"take-{late.pk}": "on"})
    assert done.status_code == 303 and late.code in held(batch)
    others = Lot.objects.filter(material=late.material).exclude(pk=late.pk)
    assert not set(held(batch)) & set(others.values_list("code", flat=True))


def test_an_amount_alone_means_its_lot(bench):
    batch = planned(bench)
    late = make_lot(bench.materials["olive"], 20 * KG)
    done = send(signed_in(), batch, **{f"amount-{late.pk}": "100 g"})
    assert done.status_code == 303 and held(batch)[late.code] == KG // 10


@pytest.mark.parametrize(
    ("amount", "words"),
    [
        ("a lot", "a lot"),
        ("0 g", "More than nothing"),
        ("900 kg", "more than is needed"),
        ("12 each", "12 each"),
    ],
)
def test_bad_amounts_are_told_beside_them_and_nothing_typed_is_lost(bench, amount, words):
    batch = planned(bench)
    late = make_lot(bench.materials["olive"], 20 * KG)
    given = {f"take-{late.pk}": "on", f"amount-{late.pk}": amount, "expires_on": "2199-01-01"}
    answer = send(signed_in(), batch, **given)
    page = read(answer)
    assert answer.status_code == 422 and words in page and "2199-01-01" in page
    assert amount in page and not Reservation.objects.exists()
    assert set(answer.context["form"].errors) <= {f"take-{late.pk}", f"amount-{late.pk}"}


def test_unsafe_soap_stands_there_for_an_owner_alone_with_what_it_means(bench):
    batch, lot = planned(bench), unsafe(bench)
    client = signed_in()
    assert lot.code not in read(client.get(place(batch)))
    refused = send(client, batch, **{f"take-{lot.pk}": "on"})
    assert refused.status_code == 422 and "is not free any more" in read(refused)
    assert not Reservation.objects.exists()
    owner = signed_in("owner")
    page = read(owner.get(place(batch)))
    for words in (lot.code, "lye-heavy as weighed", "A batch that takes one is a rebatch"):
        assert words in page
    done = owner.post(place(batch), {"once": "k-9", f"take-{lot.pk}": "on"}, follow=True)
    assert "what it makes is held until an owner decides" in read(done)
    assert lot.code in held(batch)


@pytest.mark.parametrize("more", [Cause.RECALL, Cause.BY_HAND, Cause.ARRIVAL])
def test_what_is_held_for_something_else_too_is_offered_to_nobody(bench, more):
    batch, lot = planned(bench), unsafe(bench, more)
    assert lot.code not in read(signed_in("owner").get(place(batch)))


def test_at_the_bench_what_an_owner_chose_is_told_as_such_and_not_as_forbidden(bench):
    batch, lot = planned(bench), unsafe(bench)
    send(signed_in("owner"), batch, **{f"take-{lot.pk}": "on"})
    seen = reverse("bench-page", args=[batch.code]) + "?view=list"
    page = read(signed_in().get(seen))
    assert "unsafe, for a rebatch" in page and "must not be used" not in page
    hold_lot(lot.pk, reason="moldy")
    assert "must not be used" in read(signed_in().get(seen))


def test_the_list_of_the_bench_has_unsafe_soap_for_an_owner_alone(bench):
    batch, lot = planned(bench), unsafe(bench)
    reserve_batch(batch.code)
    row = batch.lines.get(material__code="olive")
    seen = reverse("bench-page", args=[batch.code]) + f"?line={row.position}"
    assert lot.code not in read(signed_in().get(seen))
    page = read(signed_in("owner").get(seen))
    assert f"{lot.code}, " in page and "held: lye-heavy as weighed" in page
    assert "only you may choose" in page


def test_a_lot_that_went_meanwhile_is_told_and_nothing_is_held(bench):
    batch = planned(bench)
    late = make_lot(bench.materials["olive"], 20 * KG)
    hold_lot(late.pk, reason="moldy")
    answer = send(signed_in(), batch, **{f"take-{late.pk}": "on"})
    assert answer.status_code == 422 and "is not free any more" in read(answer)
    assert not Reservation.objects.exists()


def test_a_batch_that_is_reserved_has_no_lots_to_choose(bench):
    batch = planned(bench)
    reserve_batch(batch.code)
    client = signed_in()
    assert client.get(place(batch)).status_code == 303
    answer = send(client, batch)
    assert answer.status_code == 422 and "only a planned batch" in read(answer)


def test_a_viewer_chooses_nothing_and_what_is_not_there_is_not_found(bench):
    batch, client = planned(bench), signed_in("viewer")
    assert client.get(place(batch)).status_code == send(client, batch).status_code == 403
    assert signed_in().get("/batches/B-77777/choose/").status_code == 404


def test_the_number_of_queries_does_not_grow_and_long_lists_end(bench, monkeypatch):
    batch, client = planned(bench), signed_in("owner")

    def asked():
        with CaptureQueriesContext(connection) as queries:
            assert client.get(place(batch)).status_code == 200
        return len(queries)

    for _ in range(3):
        unsafe(bench)
    few = asked()
    for _ in range(12):
        make_lot(bench.materials["olive"], KG)
        unsafe(bench)
    assert asked() == few <= MOST_QUERIES
    monkeypatch.setattr("recipes.pages.bench.choosing.MOST_LOTS", 5)
    assert "8 more that would be used later are not listed" in read(client.get(place(batch)))
