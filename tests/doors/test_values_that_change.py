"""Whatever door a value comes through, what was made of it is judged again.

And through each of them the kind of an alkali is corrected by an owner alone, with a reason.
"""

from decimal import Decimal

import pytest
from django.test import Client

from inventory.domain.catalog.unusual import UNUSUAL
from inventory.models.catalog.materials import Material
from inventory.models.stock.lots import Lot
from inventory.services.stock.certificates import certify_lot
from recipes.models.bench.batches import Batch
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from tests.form_values import form_of
from tests.inventory.making import TODAY
from tests.recipes.api.calls import Caller
from tests.recipes.making import make_bench, planned, stock
from tests.studio.web.api.people import person
from tests.studio.work.exchange.carrying import counted, imported, told

#: Far below what the recipe reckons with: what was poured by it is lye-heavy.
LOW = "150"


@pytest.fixture
def soap(database):
    """A batch that is poured, of which all is sound."""
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    pour_batch(batch.code, Poured(on=TODAY))
    return Batch.objects.get(pk=batch.pk)


def lot(code="olive"):
    return Lot.objects.get(material__code=code)


def signed_in(role="owner"):
    client = Client()
    client.force_login(person(role))
    return client


def posted(client, address, **values):
    answer = client.post(address, {**form_of(client.get(address).content.decode()), **values})
    assert answer.status_code in (200, 303, 403, 422), answer.content
    return answer


def changes_material(caller, code="olive", **values):
    tag = caller.get(f"materials/{code}/")["ETag"]
    return caller.patch(f"materials/{code}/", values, **{"If-Match": tag})


def certificate_by_api():
    Caller("owner").done(
        f"lots/{lot().code}/certificate/", {"sv_mg_koh_g": LOW, "confirm": list(UNUSUAL)}
    )


def certificate_by_page():
    posted(signed_in(), f"/shelf/lots/{lot().code}/certificate/", sv_mg_koh_g=LOW, as_stated="on")


def certificate_by_table():
    content = f"code,sv_mg_koh_g,confirmed\n{lot().code},{LOW},yes\n"
    assert counted(imported("lots", content, by=person(), mode="change"))[0] == "done"


def material_by_api():
    values = {"sv_mg_koh_g": LOW, "sv_low_mg_koh_g": LOW}
    assert changes_material(Caller("owner"), **values).status_code == 200


def material_by_page():
    values = {"sv_mg_koh_g": LOW, "sv_low_mg_koh_g": LOW}
    posted(signed_in(), "/shelf/materials/olive/edit/", **values)


def material_by_table():
    content = f"code,sv_mg_koh_g,sv_low_mg_koh_g\nolive,{LOW},{LOW}\n"
    assert counted(imported("materials", content, by=person(), mode="change"))[0] == "done"


DOORS = [
    certificate_by_api,
    certificate_by_page,
    certificate_by_table,
    material_by_api,
    material_by_page,
    material_by_table,
]


@pytest.mark.parametrize("door", DOORS, ids=lambda door: door.__name__)
def test_poured_soap_is_held_by_whatever_door_the_value_came(soap, door):
    door()
    held = Lot.objects.get(pk=soap.poured_lot_id)
    assert held.state == "blocked" and "Lye-heavy" in held.state_reason
    answer = Caller("viewer").get(f"batches/{soap.code}/judged/").json()
    (judged,) = answer["judged"]
    assert (judged["is_safe"], judged["stands"]) == (False, True) and LOW in judged["changed"]
    page = signed_in().get(f"/batches/{soap.code}/")
    assert "judged unsafe" in page.content.decode()


def test_a_reserved_batch_is_refused_over_http_and_says_so_on_its_sheet(database):
    bench, caller = make_bench(), Caller("owner")
    stock(bench)
    code = planned(bench).code
    caller.done(f"batches/{code}/reserve/")
    certify_lot(lot().pk, {"sv_mg_koh_g": Decimal(LOW)}, confirmed=UNUSUAL)
    sheet = caller.get(f"batches/{code}/sheet/").json()
    assert "Lye-heavy" in sheet["warnings"][0] and sheet["lye"]["steps"] == [] and sheet["cautions"]
    refused = caller.post(f"batches/{code}/pour/", {})
    assert (refused.status_code, refused.json()["code"]) == (422, "unsafe-as-it-stands")
    assert Batch.objects.get(code=code).state == "reserved"
    # The way out that it names: given back, reserved with its lye set on the lots, and poured.
    caller.done(f"batches/{code}/unreserve/")
    caller.done(f"batches/{code}/reserve/", {"reset_lye": True})
    caller.done(f"batches/{code}/pour/", {})
    assert Batch.objects.get(code=code).poured_lot.state == "quarantine"


def alkali_by_api(role, reason):
    values = {"alkali": "KOH", **({"reason": reason} if reason else {})}
    return changes_material(Caller(role), "naoh", **values).status_code == 200


def alkali_by_page(role, reason):
    answer = posted(signed_in(role), "/shelf/materials/naoh/edit/", alkali="KOH", reason=reason)
    return answer.status_code == 303


def alkali_by_table(role, reason):
    content = f"code,alkali,reason\nnaoh,KOH,{reason}\n"
    run = imported("materials", content, by=person(role), mode="change")
    if run.state != "done":
        assert told(run)[0][1] in ("alkali", "reason")
    return run.state == "done"


@pytest.mark.parametrize("door", [alkali_by_api, alkali_by_page, alkali_by_table])
def test_an_owner_alone_corrects_an_alkali_and_says_why(database, door):
    make_bench()
    naoh = Material.objects.get(code="naoh")
    naoh.history.all().delete()
    assert not door("maker", "the drum says so")
    assert not door("owner", "")
    assert Material.objects.get(code="naoh").alkali == "NaOH"
    assert door("owner", "the drum says so")
    assert Material.objects.get(code="naoh").alkali == "KOH"
    assert naoh.history.first().history_change_reason == "the drum says so"
