"""What a certificate rarely states is kept once somebody read it again; by every door, with who.

The ranges are those kept of the material. Dry alkali is sold as NaOH of 97 to 99 % and KOH of 85 to
95 % (common practice, no source).
"""

from decimal import Decimal as D

import pytest
from django.test import Client
from django.utils import timezone

from inventory.domain.catalog.certificate import Certificate
from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.domain.catalog.unusual import PURITY, SAPONIFICATION, unusual
from inventory.models.stock.lots import CertificateConfirmation, Lot
from inventory.services.catalog.suppliers import add_supplier
from recipes.services.bench.sheets import sheet_of
from tests.form_values import form_of
from tests.inventory.making import make_lot, make_material
from tests.read_pages import read
from tests.recipes.api.calls import Caller
from tests.recipes.making import make_bench, planned, stock
from tests.studio.web.api.people import person
from tests.studio.work.exchange.carrying import exported, imported, told


@pytest.fixture
def shelf(database):
    bench = make_bench()
    stock(bench)
    add_supplier(code="mill", name="Invented Mill")
    return bench


def lot(code="naoh"):
    return Lot.objects.filter(material__code=code).order_by("-id").first()


def kept():
    rows = CertificateConfirmation.objects.values_list("code", "value", "by__username")
    return [(code, value.normalize(), by) for code, value, by in rows]


def certify_by_api(caller, *, meant, purity="0.93"):
    body = {"purity": purity, **({"confirm": [PURITY]} if meant else {})}
    answer = caller.post(f"lots/{lot().code}/certificate/", body)
    return answer.status_code == 200, answer.json()


def certify_by_page(user, *, meant):
    client = Client()
    client.force_login(user)
    address = f"/shelf/lots/{lot().code}/certificate/"
    asked = form_of(client.get(address).content.decode())
    assert "as_stated" not in asked
    answer = client.post(
        address, {**asked, "purity": "93 %", **({"as_stated": "on"} if meant else {})}
    )
    if not meant:
        assert "read the certificate again" in read(answer)
    return answer.status_code == 303


def certify_by_table(user, *, meant):
    content = f"code,purity,confirmed\n{lot().code},0.93,{'yes' if meant else 'no'}\n"
    run = imported("lots", content, by=user, mode="change")
    if not meant:
        assert told(run) == [(2, "purity", PURITY)]
    return run.state == "done"


def opened_by_table(user, *, meant):
    content = (
        "code,material,amount,cost,received_on,purity,confirmed\n"
        f"drum,naoh,2 kg,10,2026-03-02,0.93,{'yes' if meant else ''}\n"
    )
    run = imported("lots", content, by=user)
    return run.state == "done"


@pytest.mark.parametrize("door", [certify_by_page, certify_by_table, opened_by_table])
def test_every_door_asks_and_keeps_who_confirmed(shelf, door):
    user = person("maker", see_costs=True)
    assert not door(user, meant=False) and kept() == [] and lot().purity is None
    assert door(user, meant=True)
    assert kept() == [(PURITY, D("0.93"), user.username)] and lot().purity == D("0.93")


def test_the_api_asks_once_for_a_value_and_again_for_another(shelf):
    caller = Caller("maker")
    asked, body = certify_by_api(caller, meant=False)
    assert not asked and [e["code"] for e in body["errors"]] == [PURITY]
    assert [e["field"] for e in body["errors"]] == ["purity"]
    done, shown = certify_by_api(caller, meant=True)
    assert done
    (row,) = shown["confirmations"]
    assert (row["code"], row["value"]) == (PURITY, "0.93") and row["by"]
    assert row["at"][:10] == str(timezone.now().date())
    assert certify_by_api(caller, meant=False)[0]  # the same value, which was confirmed
    assert not certify_by_api(caller, meant=False, purity="0.92")[0]
    caller.done(f"lots/{lot().code}/certificate/", {"note": "what is not stated is not asked"})
    assert certify_by_api(caller, meant=False, purity="0.95")[0]


def test_a_delivery_asks_with_all_else_that_is_wrong(shelf):
    caller = Caller("owner")
    lines = [
        {"material": "naoh", "written": "1 kg", "price": "9", "purity": "0.9"},
        {"material": "olive", "written": "1 kg", "price": "9", "sv_mg_koh_g": "170"},
    ]
    body = {"supplier": "mill", "received_on": "2026-03-02", "lines": lines}
    refused = caller.post("deliveries/", {**body, "confirm": [PURITY]}).json()
    assert [(e["code"], e["field"]) for e in refused["errors"]] == [
        (SAPONIFICATION, "lines.1.sv_mg_koh_g")
    ]
    caller.made("deliveries/", {**body, "confirm": [PURITY, SAPONIFICATION]})
    assert {row[:2] for row in kept()} == {(PURITY, D("0.9")), (SAPONIFICATION, D(170).normalize())}


def test_a_delivery_on_its_page_shows_the_box_where_it_asks(shelf):
    client = Client()
    client.force_login(person("owner"))
    values = form_of(client.get("/shelf/receive/").content.decode())
    given = {
        **values,
        "supplier": "mill",
        "received_on": "2026-03-02",
        "lines-0-item": "olive",
        "lines-0-written": "1 kg",
        "lines-0-price": "9",
        "lines-0-sv_mg_koh_g": "170",
    }
    assert "as_stated" not in values
    asked = client.post("/shelf/receive/", given)
    assert asked.status_code == 422 and "read the certificate again" in read(asked)
    assert client.post("/shelf/receive/", {**given, "as_stated": "on"}).status_code == 303
    assert [row[0] for row in kept()] == [SAPONIFICATION]


def test_what_went_out_confirmed_comes_in_again(shelf):
    owner = person("owner")
    assert certify_by_table(owner, meant=True)
    out = exported("lots", by=owner)
    run = imported("lots", out, by=owner, mode="change")
    assert (run.state, run.changed) == ("done", 0)


def test_it_is_told_through_the_reservation_and_the_sheet(shelf):
    assert certify_by_table(person("owner"), meant=True)
    code, caller = planned(shelf).code, Caller("owner")
    answer = caller.done(f"batches/{code}/reserve/")
    assert PURITY in {notice["code"] for notice in answer["safety"]["notices"]}
    (warning,) = [each for each in sheet_of(code).warnings if "93 %" in each]
    assert lot().code in warning


def test_no_certificate_is_never_asked_about(shelf):
    caller = Caller("maker")
    caller.done(f"lots/{lot().code}/certificate/", {"purity": None, "sv_mg_koh_g": None})
    code = planned(shelf).code
    notices = caller.done(f"batches/{code}/reserve/")["safety"]["notices"]
    assert not {PURITY, SAPONIFICATION} & {notice["code"] for notice in notices}


@pytest.mark.parametrize(
    ("alkali", "purity", "asked"),
    [
        ("NaOH", "0.95", False),
        ("NaOH", "0.949", True),
        ("KOH", "0.85", False),
        ("KOH", "0.84", True),
    ],
)
def test_purity_has_its_least_by_alkali(database, alkali, purity, asked):
    material = make_material("flakes", kind=Kind.ALKALI.value, alkali=alkali, purity=D("0.9"))
    found = unusual(Certificate(purity=D(purity)), material)
    assert bool(found) is asked
    stored = make_material("stored", kind=Kind.INTERMEDIATE.value, alkali=alkali, purity=D("0.5"))
    assert not unusual(Certificate(purity=D("0.5")), stored)  # a lye may have any strength


@pytest.mark.parametrize(
    ("value", "asked"), [("183.9", True), ("184", False), ("196", False), ("196.1", True)]
)
def test_a_saponification_value_is_asked_about_outside_of_the_published_range(
    database, value, asked
):
    """Olive oil: 184 to 196 mg KOH/g (Codex CXS 33)."""
    olive = make_material(
        "oil", sv_mg_koh_g=D(190), sv_low_mg_koh_g=D(184), sv_high_mg_koh_g=D(196)
    )
    assert bool(unusual(Certificate(sv_mg_koh_g=D(value)), olive)) is asked
    unknown = make_material("wax", sv_mg_koh_g=D(90))
    assert not unusual(Certificate(sv_mg_koh_g=D(value)), unknown)
    assert not unusual(make_lot(olive, 1).certificate, olive)
