"""Customers from tables: kept by the service, and round trips are exact."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from costing.models.quotes.quotes import Customer
from costing.services.quotes.customers import CustomerDescription, save_customer
from studio.work.exchange.registry import table_named, tables_for
from tests.costing.selling import a_customer, a_tier
from tests.studio.web.api.people import person
from tests.studio.work.exchange.carrying import counted, exported, imported, told, undone

pytestmark = pytest.mark.django_db
letters = st.characters(codec="utf-8", exclude_characters="\x00")
words = st.text(letters, min_size=1, max_size=30).filter(lambda text: text.strip() == text)
maybe = st.just("") | words | st.just("1 Mill Lane\nOldtown") | st.just("=1+1")
customers = st.builds(
    CustomerDescription,
    code=st.from_regex(r"[a-z][a-z0-9]{3,9}", fullmatch=True),
    name=words,
    tier=st.sampled_from(["wholesale", "direct"]),
    contact=maybe,
    phone=st.text("+0123456789 ", max_size=12).map(str.strip),
    address=maybe,
    discount=st.decimals(0, "0.99", places=6),
    terms_days=st.integers(0, 365),
    terms=maybe,
    tax_exempt=st.booleans(),
    active=st.booleans(),
    note=maybe,
)
FORMS = st.sampled_from([("csv", "comma"), ("csv", "semicolon"), ("xlsx", "comma")])


@settings(max_examples=20)
@given(st.lists(customers, min_size=1, max_size=4, unique_by=lambda one: one.code), FORMS)
def test_customers_come_back_as_they_were(described, form):
    with undone():
        a_tier()
        a_tier("direct")
        owner = person("owner")
        for one in described:
            save_customer(one)
        content = exported("customers", by=owner, form=form[0], delimiter=form[1])
        before = exported("customers", by=owner)
        same = imported("customers", content, by=owner, mode="change")
        assert counted(same) == ("done", 0, 0, len(described)), same.faults
        Customer.objects.all().delete()
        again = imported("customers", content, by=owner)
        assert (again.state, again.faults) == ("done", [])
        assert exported("customers", by=owner) == before


def test_faults_stand_in_their_cells(db):
    a_customer()
    owner = person("owner")
    content = "code,name,tier,discount\ncorner,X,wholesale,\nnew,,wholesale,\nother,Y,moon,1"
    run = imported("customers", content, by=owner)
    assert set(told(run)) == {
        (2, "", "already-there"),
        (3, "name", "needed"),
        (4, "tier", "not-found"),
        (4, "discount", "out-of-range"),
    }
    assert Customer.objects.count() == 1


def test_makers_export_no_discount_and_import_nothing(db):
    a_customer()
    maker = person("maker")
    assert b"discount" not in exported("customers", by=maker)
    assert table_named("customers") in tables_for(maker)
    with pytest.raises(Exception, match="role"):
        imported("customers", "code,name,tier\nx,X,wholesale", by=maker)
