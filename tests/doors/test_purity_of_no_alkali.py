"""A purity of what is no alkali would be kept and counted nowhere: every door refuses it.

An acid's strength is in what one gram of it takes of alkali, which stands on its material.
"""

import pytest
from django.test import Client

from inventory.models.stock.lots import Lot
from inventory.services.catalog.suppliers import add_supplier
from tests.form_values import form_of
from tests.inventory.making import KG, make_lot, make_material
from tests.read_pages import read
from tests.recipes.api.calls import Caller
from tests.studio.web.api.people import person
from tests.studio.work.exchange.carrying import imported, told

CODE = "purity-not-here"


def certified_by_api(lot):
    answer = Caller("maker").post(f"lots/{lot.code}/certificate/", {"purity": "0.8"})
    assert answer.status_code == 422
    (fault,) = answer.json()["errors"]
    assert "acid_naoh_g_per_g" in fault["detail"]
    return fault["code"], fault["field"]


def certified_by_page(lot):
    client, address = Client(), f"/shelf/lots/{lot.code}/certificate/"
    client.force_login(person())
    answer = client.post(address, {**form_of(read(client.get(address))), "purity": "80 %"})
    assert answer.status_code == 422 and "is no alkali" in read(answer)
    return CODE, "purity"


def certified_by_table(lot):
    run = imported("lots", f"code,purity\n{lot.code},0.8\n", by=person(), mode="change")
    ((_, field, code),) = told(run)
    return code, field


def opened_by_table(lot):
    content = "code,material,amount,cost,received_on,purity\ndrum,lactic,2 kg,10,2026-03-02,0.8\n"
    ((_, field, code),) = told(imported("lots", content, by=person()))
    return code, field


def delivered(lot):
    line = {"material": "lactic", "written": "1 kg", "price": "9", "purity": "0.8"}
    body = {"supplier": "mill", "received_on": "2026-03-02", "lines": [line]}
    (fault,) = Caller("owner").post("deliveries/", body).json()["errors"]
    return fault["code"], fault["field"].removeprefix("lines.0.")


DOORS = [certified_by_api, certified_by_page, certified_by_table, opened_by_table, delivered]


@pytest.mark.parametrize("door", DOORS, ids=lambda door: door.__name__)
def test_no_door_keeps_a_purity_of_an_acid(database, door):
    add_supplier(code="mill", name="Invented Mill")
    acid = make_material("lactic", kind="acid", acid_naoh_g_per_g="0.355")
    lot = make_lot(acid, KG)
    assert door(lot) == (CODE, "purity")
    assert [row.purity for row in Lot.objects.filter(material=acid)] == [None]
