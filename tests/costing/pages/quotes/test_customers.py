"""Customers by hand: listed, written down, changed, and what makers see of them."""

import pytest

from costing.models.quotes.quotes import Customer
from costing.services.quotes.customers import CustomerDescription, save_customer
from tests.costing.pages.quotes.test_quotes import page, signed_in
from tests.costing.selling import a_customer, a_tier
from tests.read_pages import read

pytestmark = pytest.mark.django_db
ASKED = {
    "name": "Harbor shop",
    "code": "harbor",
    "tier": "wholesale",
    "discount": "5 %",
    "terms_days": "14",
    "active": "on",
    "email": "buyer@harbor.example",
}


def test_one_is_written_down(django_assert_max_num_queries):
    a_tier()
    client = signed_in()
    assert "Add the first customer" in page(client, "/customers/")
    answer = client.post("/customers/new/", ASKED)
    assert answer.status_code == 303 and answer["Location"] == "/customers/harbor/"
    with django_assert_max_num_queries(8):
        shown = page(client, "/customers/harbor/")
    assert "5 %" in shown and "14 days" in shown and "Write a quote" in shown


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"tier": ""}, "required"),
        ({"code": "corner"}, "corner"),
        ({"discount": "100"}, "less than all"),
        ({"email": "nowhere"}, "valid email"),
        ({"terms_days": "-1"}, "greater than or equal"),
    ],
)
def test_what_cannot_be_is_told_and_kept(change, words):
    a_customer()
    answer = signed_in().post("/customers/new/", ASKED | change)
    shown = read(answer)
    assert answer.status_code == 422 and words in shown and 'value="Harbor shop"' in shown
    assert Customer.objects.count() == 1


def test_it_is_changed_by_who_saw_it_last():
    row = a_customer()
    client, address = signed_in(), "/customers/corner/change/"
    assert 'value="The Corner Shop (invented)"' in page(client, address)
    save_customer(CustomerDescription(code="corner", name="Other", tier="wholesale"), row_id=row.pk)
    stale = client.post(address, ASKED | {"code": "corner", "revision": row.revision})
    assert stale.status_code == 422 and "Somebody else saved it" in read(stale)
    done = client.post(address, ASKED | {"code": "corner", "revision": row.revision + 1})
    assert done.status_code == 303 and Customer.objects.get().name == "Harbor shop"


def test_makers_see_who_and_no_money():
    a_customer(discount="0.07")
    maker = signed_in("maker")
    shown = page(maker, "/customers/corner/")
    assert "7 %" not in shown and "Quotes" not in shown and "Change" not in shown
    assert "7 %" not in page(maker, "/customers/")
    page(maker, "/customers/new/", 403)
    page(maker, "/customers/corner/change/", 403)


def test_the_list_finds_and_stays_flat(django_assert_max_num_queries):
    row = a_customer()
    names = (f"Shop {n}" for n in range(300))
    Customer.objects.bulk_create(
        Customer(code=f"shop-{n}", name=name, tier=row.tier) for n, name in enumerate(names)
    )
    client = signed_in()
    with django_assert_max_num_queries(6):
        assert page(client, "/customers/").count("<tr>") == 51
    assert "Corner Shop" in page(client, "/customers/", q="orner")
    assert "No customer has that name" in page(client, "/customers/", q="zzz")
