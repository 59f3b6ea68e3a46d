"""Lots of older books: what was copied onto them is cleared, what somebody entered stays."""

from decimal import Decimal as D

from inventory.domain.catalog.certificate import Certificate
from inventory.domain.catalog.materials import MaterialKind as Kind
from inventory.domain.stock.ledger import Verb
from inventory.models.stock.links import LotLink
from inventory.models.stock.lots import Lot
from inventory.queries.stock.contents import contents_of
from inventory.services.stock.certificates import certify_lot
from inventory.services.stock.copied_values import forget_copied_values
from inventory.services.stock.ledger import Origin
from inventory.services.stock.production import NewLot, open_lots
from tests.inventory.making import KG, TODAY, make_lot, make_material


def lye(material, parts, amount, **certified):
    new = NewLot(
        material=material,
        amount=amount,
        cost=0,
        received_on=TODAY,
        certificate=Certificate(**certified),
        made_of={lot.pk: taken for lot, taken in parts},
    )
    return open_lots([new], verb=Verb.PRODUCE, origin=Origin(reference="test"))[0]


def test_copies_go_and_what_was_measured_stays(database):
    naoh = make_material("naoh", kind=Kind.ALKALI.value, alkali="NaOH", purity=D(1))
    water = make_material("water", kind=Kind.LIQUID.value, water_share=D(1))
    stored = make_material("stored", kind=Kind.INTERMEDIATE.value, alkali="NaOH", purity=D("0.5"))
    parts = [(make_lot(naoh, 2 * KG, purity=D("0.98")), KG), (make_lot(water, 2 * KG), KG)]
    copied = lye(stored, parts, 2 * KG - KG // 10, purity=D("0.49"))
    measured = lye(stored, parts, 2 * KG, purity=D("0.49"))
    certify_lot(measured.pk, {"purity": D("0.48")})
    bought = make_lot(stored, KG, purity=D("0.47"))

    assert forget_copied_values(Lot, Lot.history.model, LotLink) == 1
    assert forget_copied_values(Lot, Lot.history.model, LotLink) == 0
    for lot in (copied, measured, bought):
        lot.refresh_from_db()
    assert (copied.purity, copied.steam) == (None, KG // 10)
    assert (measured.purity, bought.purity) == (D("0.48"), D("0.47"))
    assert round(contents_of([copied.pk])[copied.pk].naoh.usual, 4) == D("0.5158")  # 0.98 / 1.9
