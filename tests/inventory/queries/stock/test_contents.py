"""Contents of lots are read in two statements, however deep what was made goes."""

from decimal import Decimal as D

from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.domain.stock.ledger import Verb
from inventory.models.catalog.materials import Material
from inventory.queries.stock.contents import contents_of, contents_of_lots
from inventory.services.stock.ledger import Origin
from inventory.services.stock.production import NewLot, open_lots
from tests.inventory.making import KG, TODAY, make_lot, make_material


def made_of(material, parts, amount=KG, **values):
    new = NewLot(
        material=material,
        amount=amount,
        cost=0,
        received_on=TODAY,
        made_of={lot.pk: taken for lot, taken in parts},
        **values,
    )
    return open_lots([new], verb=Verb.PRODUCE, origin=Origin(reference="test"))[0]


def a_chain(depth):
    olive = make_lot(make_material("olive", sv_mg_koh_g=D(190)), KG)
    water = make_lot(make_material("water", kind=Kind.LIQUID.value, water_share=D(1)), KG)
    blend = make_material("blend", kind=Kind.INTERMEDIATE.value)
    lot = olive
    for _ in range(depth):
        lot = made_of(blend, [(lot, KG // 2), (water, KG // 2)])
    return olive, water, lot


def test_two_statements_at_any_depth(database):
    olive, _, lot = a_chain(8)
    with CaptureQueriesContext(
        connection,
    ) as asked:
        found = contents_of([lot.pk, olive.pk])
    assert len(asked) == 2
    assert found[lot.pk].demand.usual == D(190) / 2**8
    assert found[lot.pk].water == 1 - D(1) / 2**8
    assert found[olive.pk].demand.usual == D(190)
    assert contents_of([]) == {} and contents_of([lot.pk + 1]) == {}


def test_lots_that_were_bought_are_not_asked_about(database):
    olive, water, lot = a_chain(2)
    materials = Material.objects.in_bulk()
    with CaptureQueriesContext(connection) as asked:
        found = contents_of_lots([olive, water], materials)
    assert not asked.captured_queries and found == contents_of([olive.pk, water.pk])
    with CaptureQueriesContext(connection) as asked:
        assert contents_of_lots([olive, lot], materials) == contents_of([olive.pk, lot.pk])
    assert len(asked) == 4


def test_one_lot_that_went_in_twice_counts_twice(database):
    clay = make_lot(make_material("clay", kind=Kind.COLORANT.value), KG)
    olive = make_lot(make_material("olive", sv_mg_koh_g=D(190)), KG)
    blend = make_material("blend", kind=Kind.INTERMEDIATE.value)
    first = made_of(blend, [(clay, KG // 2), (olive, KG // 2)])
    both = made_of(blend, [(first, KG // 2), (olive, KG // 2)])
    found = contents_of([both.pk])[both.pk]
    assert {leaf.code: share for leaf, share in found.leaves.items()} == {
        "clay": D("0.25"),
        "olive": D("0.75"),
    }


def test_packaging_is_no_part_of_what_is_in_it_and_soap_is_no_lye(database):
    olive = make_lot(make_material("olive", sv_mg_koh_g=D(190)), KG)
    naoh = make_lot(make_material("naoh", kind=Kind.ALKALI.value, alkali="NaOH", purity=D(1)), KG)
    box = make_lot(make_material("box", kind=Kind.PACKAGING.value, counted=True), 10)
    batter = made_of(
        make_material("batter", kind=Kind.BATTER.value),
        [(olive, 1000), (naoh, 150)],
        amount=1150,
    )
    bars = made_of(
        make_material("bar", kind=Kind.BAR.value, counted=True),
        [(batter, 1150), (box, 10)],
        amount=10,
    )
    found = contents_of([batter.pk, bars.pk])
    # 190 g KOH are 135.45 g NaOH; 14.55 of 150 found no fat.
    for lot in (batter, bars):
        assert round(found[lot.pk].naoh.usual * 1150, 2) == D("14.55")
        assert {leaf.code for leaf in found[lot.pk].reacted} == {"olive", "naoh"}
