"""What is measured on a lot made here and is not what its parts make: an owner alone confirms it
where more lye would be weighed by it; by every door.

By hand (balance of mass): 4 kg of NaOH with 1 kg of water make 80 %; 90 % of olive of 190 mg KOH/g
with 10 % of clay make 171 mg KOH/g.
"""

import uuid
from decimal import Decimal as D

import pytest
from django.test import Client

from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.domain.catalog.unusual import PURITY_OF_PARTS, SAPONIFICATION_OF_PARTS
from inventory.errors import MaterialRefusal, NotForYou
from inventory.queries.stock.certificates import unusual_of_lots, unusual_values
from inventory.queries.stock.contents import contents_by_parts, contents_of
from inventory.services.stock.certificates import certify_lot
from tests.form_values import form_of
from tests.inventory.making import KG, make_lot, make_material
from tests.inventory.queries.stock.test_contents import made_of
from tests.read_pages import read
from tests.studio.web.api.people import client_of, person
from tests.studio.work.exchange.carrying import exported, imported, told

WEAK, HIGH = {"purity": D("0.49")}, {"sv_mg_koh_g": D(250)}


@pytest.fixture
def lye(database):
    naoh = make_material("naoh", kind=Kind.ALKALI.value, alkali="NaOH", purity=D(1))
    water = make_material("water", kind=Kind.LIQUID.value, water_share=D(1))
    parts = [(make_lot(naoh, 9 * KG), 4 * KG), (make_lot(water, 9 * KG), KG)]
    stored = make_material("stored", kind=Kind.INTERMEDIATE.value, alkali="NaOH")
    return made_of(stored, parts, amount=5 * KG)


@pytest.fixture
def oil(database):
    olive = make_lot(make_material("olive", sv_mg_koh_g=D(190)), 9 * KG)
    clay = make_lot(make_material("clay", kind=Kind.COLORANT.value), 9 * KG)
    infused = make_material("infused", kind=Kind.INTERMEDIATE.value)
    return made_of(infused, [(olive, 9 * KG // 10), (clay, KG // 10)])


def kept(lot):
    rows = lot.confirmations.values_list("code", "value", "by__username")
    return [(code, value.normalize(), by) for code, value, by in rows]


def by_api(lot, user, *, meant):
    body = {"purity": "0.49", **({"confirm": [PURITY_OF_PARTS]} if meant else {})}
    address = f"/api/v1/lots/{lot.code}/certificate/"
    answer = client_of(user).post(address, body, headers={"Idempotency-Key": str(uuid.uuid4())})
    if answer.status_code == 200:
        return ""
    (error,) = answer.json()["errors"]
    assert error["field"] == "purity" and "49 %" in error["detail"] and "80 %" in error["detail"]
    assert answer.status_code == (403 if error["code"] == "not-for-you" else 422)
    return error["code"]


def by_page(lot, user, *, meant):
    client = Client()
    client.force_login(user)
    address = f"/shelf/lots/{lot.code}/certificate/"
    asked = form_of(client.get(address).content.decode())
    sent = {**asked, "purity": "49 %", **({"as_stated": "on"} if meant else {})}
    answer = client.post(address, sent)
    if answer.status_code == 303:
        return ""
    page = read(answer)
    assert "49 %" in page and "80 % naoh" in page.lower()
    return "not-for-you" if "an owner alone confirms" in page else PURITY_OF_PARTS


def by_table(lot, user, *, meant):
    content = f"code,purity,confirmed\n{lot.code},0.49,{'yes' if meant else 'no'}\n"
    run = imported("lots", content, by=user, mode="change")
    if run.state == "done":
        return ""
    ((_, field, code),) = told(run)
    assert field == "purity"
    return code


@pytest.mark.parametrize("door", [by_api, by_page, by_table])
def test_every_door_leaves_weaker_lye_to_an_owner_who_confirms_it(lye, door):
    maker, owner = person("maker", see_costs=True), person("owner")
    for meant in (False, True):
        assert door(lye, maker, meant=meant) == "not-for-you"
    assert door(lye, owner, meant=False) == PURITY_OF_PARTS
    lye.refresh_from_db()
    assert lye.purity is None and kept(lye) == []
    assert not door(lye, owner, meant=True)
    assert kept(lye) == [(PURITY_OF_PARTS, D("0.49"), owner.username)]
    assert contents_of([lye.pk])[lye.pk].naoh.usual == D("0.49")
    assert not door(lye, maker, meant=False)  # the same value, which an owner confirmed


def test_a_value_is_left_to_an_owner_and_nothing_is_kept_of_what_is_refused(oil):
    maker = person("maker")
    for by, confirmed in ((maker, ()), (maker, [SAPONIFICATION_OF_PARTS]), (None, ())):
        with pytest.raises(NotForYou, match=r"250 .* 171"):
            certify_lot(oil.pk, {**HIGH, "note": "new"}, confirmed=confirmed, by=by)
    oil.refresh_from_db()
    assert (oil.note, oil.sv_mg_koh_g, kept(oil)) == ("", None, [])
    owner = person("owner")
    certify_lot(oil.pk, HIGH, confirmed=[SAPONIFICATION_OF_PARTS], by=owner)
    assert kept(oil) == [(SAPONIFICATION_OF_PARTS, D(250).normalize(), owner.username)]


def test_a_maker_confirms_what_has_less_lye_weighed(lye, oil):
    maker = person("maker")
    for lot, stated, code in (
        (lye, {"purity": D("0.9")}, PURITY_OF_PARTS),
        (oil, {"sv_mg_koh_g": D(160)}, SAPONIFICATION_OF_PARTS),
    ):
        with pytest.raises(MaterialRefusal) as refused:
            certify_lot(lot.pk, stated, by=maker)
        assert [fault.code for fault in refused.value.faults] == [code]
        certify_lot(lot.pk, stated, confirmed=[code], by=maker)
        assert [row[0] for row in kept(lot)] == [code]


def test_what_agrees_with_its_parts_is_kept_without_asking(lye, oil):
    maker = person("maker")
    certify_lot(lye.pk, {"purity": D("0.77")}, by=maker)
    certify_lot(oil.pk, {"sv_mg_koh_g": D(175)}, by=maker)
    assert not kept(lye) and not kept(oil)


def test_parts_are_taken_as_they_were_measured_and_bought_lots_have_none(lye):
    owner = person("owner")
    certify_lot(lye.pk, WEAK, confirmed=[PURITY_OF_PARTS], by=owner)
    water = make_lot(make_material("more", kind=Kind.LIQUID.value, water_share=D(1)), KG)
    thin = make_material("thin", kind=Kind.INTERMEDIATE.value, alkali="NaOH")
    thin = made_of(thin, [(lye, KG), (water, KG)], amount=2 * KG)
    found = contents_by_parts([lye.pk, thin.pk, water.pk])
    assert {pk: one.naoh.usual for pk, one in found.items()} == {
        lye.pk: D("0.8"),
        thin.pk: D("0.245"),
    }
    certify_lot(thin.pk, {"purity": D("0.245")}, by=person("maker"))
    assert contents_by_parts([]) == {}


def test_an_older_row_is_told_on_its_page_and_left_to_an_owner(lye):
    lye.purity = D("0.49")
    lye.save()
    ((each, by),) = unusual_values(lye)
    assert by is None and (each.code, each.dangerous) == (PURITY_OF_PARTS, True)
    with pytest.raises(NotForYou):
        certify_lot(lye.pk, {}, confirmed=[PURITY_OF_PARTS], by=person("maker"))
    certify_lot(lye.pk, {"note": "what is not stated is not asked"}, by=person("maker"))
    assert unusual_of_lots([lye], {lye.material_id: lye.material})[lye.pk] == (each,)


def test_what_went_out_confirmed_is_so_in_the_table(lye):
    owner = person("owner")
    certify_lot(lye.pk, WEAK, confirmed=[PURITY_OF_PARTS], by=owner)
    out = exported("lots", by=owner)
    (row,) = [line for line in out.decode().splitlines() if line.startswith(lye.code)]
    assert ",yes," in row
    run = imported("lots", out, by=person("maker", see_costs=True), mode="change")
    assert (run.state, run.changed) == ("done", 0)
