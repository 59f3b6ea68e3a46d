"""The price list, a product, setting a price, and costs of recipes and batches on pages."""

from html import unescape

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from costing.models.prices.prices import PriceEntry
from costing.models.rates.rates import Rate
from costing.queries.bar_cost.price_basis import PriceBasis
from costing.queries.prices.prices import restoring_for
from tests.costing.making import make_free_rates
from tests.costing.priced import a_shelf, dearer, offered
from tests.costing.selling import a_price, a_product, a_tier
from tests.read_pages import read
from tests.recipes.making import make_bench, stock
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db


def signed_in(role="owner", **values):
    client = Client()
    client.force_login(person(role, **values))
    return client


def restoring(product, tier):
    found = restoring_for(product, tier, quantity=1, own_floor=None, on=timezone.localdate())
    assert found is not None
    return found


def sent(price, **values):
    today = timezone.localdate().isoformat()
    return {
        "tier": "wholesale",
        "from_quantity": "1",
        "price": price,
        "effective_from": today,
        **values,
    }


def written(value):
    return f"{value / 10_000:.2f}"


def test_an_empty_list_tells_what_belongs_there():
    assert "Products stand here" in read(signed_in().get("/prices/"))


def test_money_is_for_those_who_may_see_it():
    product, _, _ = a_shelf()
    for address in ("/prices/", f"/prices/{product.code}/product/", "/recipes/plain/cost/"):
        assert signed_in("maker").get(address).status_code == 403
        assert signed_in("maker", see_costs=True).get(address).status_code == 200
    seeing = signed_in("maker", see_costs=True)
    assert seeing.post(f"/prices/{product.code}/set/", sent("9.00")).status_code == 403


def test_a_price_under_its_floor_is_refused_with_what_restores_it():
    product, tier, _ = a_shelf()
    client = signed_in()
    least = restoring(product, tier)
    refused = client.post(f"/prices/{product.code}/set/", sent(written(least - 500)))
    page = read(refused)
    assert refused.status_code == 422 and not PriceEntry.objects.exists()
    assert "under the floor of this tier" in page
    assert f"Ask {written(least)} instead" in page
    assert f'value="{written(least - 500)}"' in page, "what was typed is lost"
    asked = sent(written(least - 500), ask=written(least))
    assert client.post(f"/prices/{product.code}/set/", asked).status_code == 303
    assert PriceEntry.objects.get().price == least


def test_what_fell_under_its_floor_is_restored_from_today():
    product, tier, offers = a_shelf()
    a_price(product, restoring(product, tier), tier=tier)
    client = signed_in()
    assert "Every price that is asked keeps its floor" in read(client.get("/prices/"))
    dearer(offers["olive"], "3")
    page = read(client.get("/prices/"))
    least = restoring(product, tier)
    assert "1 price" in page and "from today" in page
    assert f'name="price" value="{written(least)}"' in page
    assert client.post(f"/prices/{product.code}/set/", sent(written(least))).status_code == 303
    assert "Every price that is asked keeps its floor" in read(client.get("/prices/"))


def test_a_product_shows_its_cost_on_each_basis():
    make_free_rates()
    bench = make_bench()
    stock(bench)
    offered(bench)
    product, tier = a_product(bench), a_tier(step=500)
    a_price(product, restoring(product, tier), tier=tier)
    for basis in PriceBasis:
        answer = signed_in().get(f"/prices/{product.code}/product/", {"basis": basis})
        page = unescape(read(answer))
        assert answer.status_code == 200 and "Price ladder" in page
        assert all(other.words in page for other in PriceBasis)
        assert f"Cost of a bar: {basis.words.lower()}" in page
        compared = unescape(read(signed_in().get("/recipes/plain/cost/", {"basis": basis})))
        assert f'<option value="{basis}" selected>{basis.words}</option>' in compared
    assert "<svg" in read(signed_in().get(f"/prices/{product.code}/product/"))
    assert signed_in().get("/prices/nothing/product/").status_code == 404


def test_the_scale_page_is_told_the_cost_of_a_bar():
    a_shelf()
    address = "/recipes/plain/cost-fragment/"
    page = read(signed_in().get(address, {"size": "mold", "mold": "loaf"}))
    assert "<dt>Cost per bar</dt>" in page and "at today's prices" in page
    assert "not all known" in page and "at least" in page
    for asked in ({"size": "fats", "amount": "much"}, {"size": "fats"}, {"mold": "none"}):
        answer = signed_in().get(address, asked)
        assert answer.status_code in (200, 404)


def test_floors_that_are_not_known_are_counted_beyond_the_page_that_is_shown():
    product, tier, _ = a_shelf()
    a_price(product, restoring(product, tier), tier=tier)
    Rate.objects.filter(kind="overhead_batch").delete()
    other = read(signed_in().get("/prices/", {"q": "nothing is called so"}))
    assert "The floor of <strong>1 price</strong> is not known" in other
    assert "Every price that is asked keeps its floor" not in other


def test_without_a_rate_pages_tell_the_least_and_suggest_nothing():
    product, tier, _ = a_shelf()
    a_price(product, restoring(product, tier), tier=tier)
    Rate.objects.filter(kind="overhead_batch").delete()
    shown = read(signed_in().get(f"/prices/{product.code}/product/"))
    assert "A bar costs at least" in shown and "overhead batch" in shown
    assert "cost not known" in shown and "Price for target" in shown
    listed = read(signed_in().get("/prices/"))
    assert "The floor of <strong>1 price</strong> is not known" in listed and "at least" in listed
    assert '<span class="quiet">none</span>' not in shown + listed
    assert "Every price that is asked keeps its floor" not in listed
    assert "at least" in read(signed_in().get(f"/prices/{product.code}/set/"))
    molds = read(signed_in().get("/recipes/plain/cost/"))
    assert "Not all that a bar costs is known" in molds and "not known" in molds
    assert "A bar costs least in" not in molds
    compared = read(signed_in().get("/prices/recipes/"))
    assert "is the dearest bar" not in compared and "at least" in compared
    sums = read(signed_in().get("/prices/break-even/", {"product": product.code}))
    assert "A bar costs at least" in sums


def test_recipes_and_molds_are_compared():
    a_shelf()
    assert "A bar costs least in" in read(signed_in().get("/recipes/plain/cost/"))
    assert "is the dearest bar" in read(signed_in().get("/prices/recipes/"))


def test_queries_do_not_grow_with_the_products():
    bench = make_bench()
    stock(bench)
    client = signed_in()
    counted = []
    for start in (0, 10):
        for number in range(start, start + 10):
            a_product(bench, code=f"bar-{number}", name=f"Bar {number}")
        with CaptureQueriesContext(connection) as seen:
            client.get("/prices/")
        counted.append(len(seen))
    assert counted[0] == counted[1]
