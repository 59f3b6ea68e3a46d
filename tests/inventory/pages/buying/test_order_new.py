"""An order written by hand from a supplier's page: a draft of packs of what is offered today."""

from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from inventory.models.buying.orders import PurchaseOrder
from tests.inventory.buying import a_supplier, an_offer, an_oil
from tests.read_pages import read
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db
PLACE = "/shelf/suppliers/hill/order/"


def signed_in(role="owner", **values):
    client = Client()
    client.force_login(person(role, **values))
    return client


@pytest.fixture
def offers():
    """Two offers that hold, and one that is over."""
    hill = a_supplier("hill", lead_time_days=5, minimum_order=200_000)
    yesterday = timezone.localdate() - timedelta(days=1)
    return [
        an_offer(hill, an_oil("coconut"), "5 kg", 300_000, code="coconut-5", minimum_packs=2),
        an_offer(hill, an_oil("olive"), "1 kg", 90_000, code="olive-1"),
        an_offer(hill, an_oil("shea"), "1 kg", 90_000, code="shea-1", valid_until=yesterday),
    ]


def send(client, once="k-1", **values):
    return client.post(PLACE, {"once": once, **values})


def packs(offer, number):
    return {f"packs-{offer.pk}": number}


def test_packs_of_what_holds_become_a_draft_once(offers):
    coconut, olive, over = offers
    client = signed_in("maker", see_costs=True)
    page = read(client.get(PLACE))
    assert "Packs of Coconut, 5 kg" in page and "no fewer than 2" in page and "Shea" not in page
    assert f'href="{PLACE}"' in read(client.get("/shelf/suppliers/hill/"))
    day = timezone.localdate() + timedelta(days=9)
    given = {
        **packs(coconut, "3"),
        **packs(olive, ""),
        f"price-{coconut.pk}": "80",
        "expected_on": day.isoformat(),
        "note": "by the back door",
    }
    first, again = send(client, **given), send(client, **given)
    order = PurchaseOrder.objects.get()
    assert first.status_code == again.status_code == 303
    assert first["Location"] == again["Location"] == f"/buying/orders/{order.code}/"
    (line,) = order.lines.all()
    assert (order.state, order.expected_on, order.note) == ("draft", day, "by the back door")
    assert (line.offer, line.packs, line.price) == (coconut, 3, 800_000)
    assert order.by is not None and not order.mails.exists()
    assert over not in [row.offer for row in order.lines.all()]


@pytest.mark.parametrize(
    ("which", "values", "words"),
    [
        (0, {"packs": "1"}, "sells no fewer than 2"),
        (0, {"packs": "many"}, "whole number"),
        (0, {"packs": "-1"}, "greater than or equal to 0"),
        (1, {"packs": "3", "price": "cheap"}, "cheap"),
        (1, {"price": "5"}, "How many packs is that price for?"),
        (1, {"packs": "3", "price": "-2"}, "-2"),
    ],
)
def test_what_cannot_be_ordered_is_told_beside_it_and_nothing_typed_is_lost(
    offers, which, values, words
):
    offer = offers[which]
    given = {f"{name}-{offer.pk}": value for name, value in values.items()}
    answer = send(signed_in(), note="by the back door", **given)
    page = read(answer)
    assert answer.status_code == 422 and words in page and "by the back door" in page
    assert set(answer.context["form"].errors) <= {f"packs-{offer.pk}", f"price-{offer.pk}"}
    assert answer.context["form"].errors and not PurchaseOrder.objects.exists()


def test_an_order_of_nothing_or_below_the_minimum_or_for_the_past_is_refused(offers):
    olive, client = offers[1], signed_in()
    for number, (given, words) in enumerate(
        (
            ({}, "at least one line"),
            (packs(olive, "1"), "takes none below"),
            ({**packs(olive, "9"), "expected_on": "2020-01-01"}, "expected before it is ordered"),
        )
    ):
        answer = send(client, once=f"k-{number}", **given)
        assert answer.status_code == 422 and words in read(answer)
    assert not PurchaseOrder.objects.exists()


def test_without_an_offer_that_holds_it_says_what_to_do_first():
    a_supplier("hill")
    page = read(signed_in().get(PLACE))
    assert "holds today" in page and "/shelf/offers/new/?supplier=hill" in page


@pytest.mark.parametrize(("role", "see_costs"), [("viewer", False), ("maker", False)])
def test_only_those_who_keep_stock_and_see_prices_order(offers, role, see_costs):
    client = signed_in(role, see_costs=see_costs)
    assert client.get(PLACE).status_code == send(client).status_code == 403
    assert PLACE not in read(client.get("/shelf/suppliers/hill/"))


def test_an_unknown_supplier_is_not_there():
    assert signed_in().get("/shelf/suppliers/nobody/order/").status_code == 404
