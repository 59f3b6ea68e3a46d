"""Lists stay flat: of 2,000 rows a page asks as often, and shows as much, as of 100.

The long run shows the same of 20,000.
"""

from copy import copy

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from costing.models.prices.prices import Product
from costing.models.quotes.quotes import Customer, Quote
from inventory.models.alerts.alerts import Alert
from inventory.models.buying.orders import PurchaseOrder
from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import Supplier
from inventory.models.counting.counts import CountSession
from inventory.models.receiving.deliveries import Delivery
from inventory.models.shipping.shipments import Shipment
from inventory.models.stock.lots import Location, Lot
from recipes.models.bench.batches import Batch
from recipes.models.formulas.formulas import Formula
from recipes.models.molds.molds import Mold
from recipes.models.scales.scales import Scale
from tests.furnished import furnish
from tests.kept import once_a_module
from tests.studio.web.api.people import person

pytestmark = pytest.mark.django_db
FEW = 100
MANY = [2_000, pytest.param(20_000, marks=pytest.mark.long)]
#: Each list with what it shows, and what is different from row to row beside the code.
LISTS = {
    "/shelf/": (Material, {"kind": "fat"}, ("name",)),
    "/shelf/lots/": (Lot, {"material__code": "olive-oil", "on_hand__gt": 0}, ()),
    "/shelf/deliveries/": (Delivery, {}, ("invoice",)),
    "/shelf/counts/": (CountSession, {}, ()),
    "/shelf/locations/": (Location, {}, ("name",)),
    "/shelf/shipments/": (Shipment, {}, ("customer_name",)),
    "/shelf/suppliers/": (Supplier, {}, ("name",)),
    "/buying/alerts/": (Alert, {"closed_at": None}, ("subject",)),
    "/buying/orders/": (PurchaseOrder, {"state": "placed"}, ()),
    "/buying/reorder/": (Material, {"kind": "fat"}, ("name",)),
    "/recipes/": (Formula, {"code": "harbor-plain"}, ("name",)),
    "/recipes/molds/": (Mold, {"code": "long-loaf"}, ("name",)),
    "/recipes/scales/": (Scale, {"code": "bench"}, ("name",)),
    "/batches/": (Batch, {"state": "planned"}, ()),
    "/prices/": (Product, {"code": "harbor-plain"}, ("name",)),
    "/customers/": (Customer, {"code": "gull-and-lantern"}, ("name",)),
    "/quotes/": (Quote, {"state": "draft"}, ()),
}


furnished_once = once_a_module(lambda: furnish(today=timezone.localdate()))


@pytest.fixture
def client():
    signed_in = Client()
    signed_in.force_login(person("owner"))
    return signed_in


def copies(model, found, named, *, start, stop):
    """More rows like one that is there."""
    one = model.objects.filter(**found).order_by("pk").first()
    rows = []
    for number in range(start, stop):
        row = copy(one)
        row.pk = None
        row._state = copy(one._state)
        row._state.adding = True
        for name in ("code", *named):
            if hasattr(row, name):
                setattr(row, name, f"zz-{number:06d}")
        rows.append(row)
    model.objects.bulk_create(rows, batch_size=2_000)


def looked_at(client, address):
    with CaptureQueriesContext(connection) as queries:
        answer = client.get(address)
    assert answer.status_code == 200
    return len(queries), len(answer.content)


@pytest.mark.parametrize("many", MANY)
@pytest.mark.parametrize("address", LISTS)
def test_a_list_asks_and_shows_as_much_of_many_as_of_few(client, address, many):
    model, found, named = LISTS[address]
    copies(model, found, named, start=0, stop=FEW)
    few, short = looked_at(client, address)
    copies(model, found, named, start=FEW, stop=many)
    asked, long = looked_at(client, address)
    assert model.objects.count() > many
    assert asked == few
    # The same rows to a page; only numbers in its sentences are longer.
    assert long < short * 1.1
