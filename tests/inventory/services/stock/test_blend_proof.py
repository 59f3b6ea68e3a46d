"""What a batch used is what went into its lots, and no alkali comes of nothing."""

from decimal import Decimal as D

import pytest
from django.db import connection

from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.domain.catalog.unusual import PURITY_OF_PARTS
from inventory.domain.stock.ledger import Verb
from inventory.models.stock.lots import Lot
from inventory.services.stock.certificates import certify_lot
from inventory.services.stock.consumption import draw
from inventory.services.stock.ledger import Origin
from inventory.services.stock.production import NewLot, open_lots, parts_of
from inventory.services.stock.proof import prove_books
from tests.inventory.making import KG, TODAY, make_lot, make_material
from tests.studio.web.api.people import person

G = KG // 1000


def blended(code, parts, *, out, steam=0):
    """So much of each lot mixed under one document; what came out, and the steam of it."""
    origin = Origin(reference=f"batch:{code}", on=TODAY)
    taken = [draw(lot.pk, amount, origin=origin) for lot, amount in parts.items()]
    new = NewLot(
        material=make_material(code, kind=Kind.INTERMEDIATE.value),
        code=code,
        amount=out,
        cost=sum(take.cost for take in taken),
        received_on=TODAY,
        made_of=parts_of(taken),
        steam_ng=steam,
    )
    return open_lots([new], verb=Verb.PRODUCE, origin=origin)[0]


@pytest.fixture
def lye(database):
    """1,020 g of NaOH of 98 % with 980 g of water; 30 g stayed in the pot and 50 g steamed off."""
    naoh = make_material("naoh", kind=Kind.ALKALI.value, alkali="NaOH", purity=D("0.98"))
    water = make_material("water", kind=Kind.LIQUID.value, water_share=D(1))
    dry, wet = make_lot(naoh, 2 * KG), make_lot(water, 5 * KG)
    return blended("lye", {dry: 1020 * G, wet: 980 * G}, out=1920 * G, steam=50 * G)


def run(sql, *params):
    with connection.cursor() as cursor:
        cursor.execute(sql, params)


def differing():
    return [(found.lot, found.on_row, found.in_books) for found in prove_books().differences]


def test_what_stayed_in_the_pot_takes_its_share_of_alkali_along_and_steam_none(lye):
    water = Lot.objects.get(material__code="water")
    blended("thinner", {lye: KG, water: KG}, out=1990 * G)
    assert prove_books().holds


@pytest.mark.parametrize("steam", [0, 81])
def test_steam_that_cannot_have_been_is_found(lye, steam):
    Lot.objects.filter(pk=lye.pk).update(steam=steam * G)
    # Without any it is as weak as what went in, which is no fault; beyond 80 g it came of nothing.
    expected = [] if not steam else [("lye", D("999.6") * G, D("999.6") * G * 2001 / 2000)]
    assert differing() == expected


@pytest.mark.parametrize(
    ("purity", "against"),
    [
        ("0.53", None),  # 1,017.6 g of at most 1,020 g
        ("0.55", ("1056", "1050.6")),  # of 1,020 g and 3 %
        ("0.49", None),  # 940.8 g of 984.606 g
        ("0.48", ("921.6", "984.606")),
    ],
)
def test_a_lye_is_as_strong_as_what_went_into_it_unless_somebody_confirmed(lye, purity, against):
    Lot.objects.filter(pk=lye.pk).update(purity=D(purity))  # as older rows may have it
    expected = [("lye", *(D(grams) * G for grams in against))] if against else []
    assert differing() == expected
    if against:
        certify_lot(lye.pk, {}, confirmed=[PURITY_OF_PARTS], by=person("owner"))
        assert prove_books().holds


def test_a_link_that_is_not_what_was_used_is_found(lye):
    run("UPDATE inventory_lotlink SET amount = amount + 1 WHERE amount = %s", 980 * G)
    water = Lot.objects.get(material__code="water")
    (found,) = [one for one in prove_books().differences if one.lot == water.code]
    assert (found.on_row, found.in_books) == (980 * G + 1, 980 * G)
    assert "batch:lye" in found.what


def test_what_was_used_without_becoming_part_of_anything_is_found(lye):
    water = Lot.objects.get(material__code="water")
    draw(water.pk, 7 * G, origin=Origin(reference="batch:lye", on=TODAY))
    assert differing() == [(water.code, 980 * G, 987 * G)]
