"""A small invented shelf, stocked through the API itself."""

import pytest

from tests.inventory.api.calls import Caller

OLIVE = {"code": "olive-oil", "name": "Olive oil", "kind": "fat", "density_g_ml": "0.911"}
BUTTER = {"code": "shea-butter", "name": "Shea butter", "kind": "fat"}
EGGS = {"code": "egg", "name": "Whole egg", "kind": "liquid", "counted": True}
HILLSIDE = {"code": "hillside", "name": "Hillside Oils (invented)", "lead_time_days": 5}
HARBOR = {"code": "harbor", "name": "Harbor Supplies (invented)"}
OFFERS = (
    {"code": "hill-olive", "supplier": "hillside", "material": "olive-oil", "pack": "1 gal"},
    {"code": "hill-shea", "supplier": "hillside", "material": "shea-butter", "pack": "5 lb"},
    {"code": "harbor-egg", "supplier": "harbor", "material": "egg", "pack": "12 each"},
)


@pytest.fixture
def owner(db):
    return Caller("owner")


@pytest.fixture
def maker(db):
    return Caller("maker")


@pytest.fixture
def viewer(db):
    return Caller("viewer")


@pytest.fixture
def shelf(request, owner):
    """The rows of `fill_shelf`, made for the test unless its module made them once."""
    if "shelf_once" not in request.fixturenames:
        fill_shelf(owner)
    return owner


def fill_shelf(owner=None):
    """Suppliers, materials and offers; lots L-00001 olive 10 kg, L-00002 shea, L-00003 eggs."""
    owner = owner or Caller("owner")
    for body in (HILLSIDE, HARBOR):
        owner.made("suppliers/", body)
    for body in (OLIVE, BUTTER, EGGS):
        owner.made("materials/", body)
    for offer in OFFERS:
        given = {name: value for name, value in offer.items() if name != "pack"}
        owner.made("offers/", {**given, "pack_written": offer["pack"], "price": "24.00"})
    lines = [
        {"material": "olive-oil", "written": "10 kg", "price": "100"},
        {"material": "shea-butter", "written": "5 kg", "price": "60"},
        {"material": "egg", "written": "2 dozen", "price": "8"},
    ]
    owner.made("deliveries/", {"supplier": "hillside", "received_on": "2026-03-02", "lines": lines})
