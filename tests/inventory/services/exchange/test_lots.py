"""Opening stock from tables: received through the ledger, and never rewritten."""

from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.domain.catalog.allergens import Allergen
from inventory.domain.catalog.certificate import Certificate
from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.catalog.unusual import SAPONIFICATION
from inventory.domain.stock.lots import LotState
from inventory.models.catalog.materials import Material
from inventory.models.stock.holds import Hold
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Location, Lot
from inventory.services.counting.counts import Counted, count_lot
from inventory.services.shipping.recall import recall_lot
from inventory.services.stock.ledger import Origin
from inventory.services.stock.opening_stock import OpeningLot, receive_opening_lot
from inventory.services.stock.proof import prove_books
from studio.foundation.units.grammar import parse_quantity
from studio.foundation.units.quantity import Quantity
from studio.foundation.units.registry import UNITS
from studio.work.numbering import next_code
from tests.inventory.buying import GALLON_ML, a_supplier, an_oil, boxes
from tests.studio.web.api.people import person
from tests.studio.work.exchange.carrying import counted, exported, imported, told, undone

pytestmark = pytest.mark.django_db
HEADS = "code,material,amount,cost,received_on,supplier\n"
DAY = date(2026, 3, 2)


def a_lot(code="OL-1", material="olive", amount="5 kg", cost=412_000, **values):
    return receive_opening_lot(
        OpeningLot(
            code=code,
            material=material,
            quantity=parse_quantity(amount),
            cost=cost,
            received_on=DAY,
            **values,
        )
    )


def test_a_row_is_received_through_the_ledger():
    by = person()
    an_oil("olive", shelf_life_days=365)
    a_supplier("mill-lane")
    run = imported("lots", HEADS + "OL-1,olive,1 gal,41.20,2026-03-02,mill-lane\n", by=by)
    assert counted(run) == ("done", 1, 0, 0)
    lot, entry = Lot.objects.get(), StockEntry.objects.get()
    # NIST Handbook 44, appendix C: the gallon.
    assert lot.on_hand == entry.on_hand == round(GALLON_ML * Decimal("0.915") * 10**9)
    assert (lot.cost, entry.cost, entry.verb) == (412_000, 412_000, "receive")
    assert (entry.reference, entry.by) == ("opening:OL-1", by)
    assert (lot.supplier.code, lot.best_before) == ("mill-lane", date(2027, 3, 2))
    assert not prove_books().differences


allergens = st.lists(
    st.tuples(
        st.text("Linalool ;\"'=é", min_size=1, max_size=9).filter(
            lambda name: name == name.strip()
        ),
        st.decimals("0.00000001", "0.1", places=8),
    ),
    max_size=3,
    unique_by=lambda pair: pair[0].casefold(),
).map(lambda pairs: tuple(Allergen(*pair) for pair in pairs))
lots = st.fixed_dictionaries(
    {
        "quantity": st.integers(1, 10**17).map(
            lambda ng: Quantity(Fraction(ng, 10**9), UNITS["g"])
        ),
        "cost": st.integers(0, 10**15),
        "best_before": st.none() | st.dates(DAY, date(2199, 1, 1)),
        "certificate": st.builds(
            Certificate,
            density_g_ml=st.none() | st.decimals("0.1", 2, places=6),
            allergens=st.none() | allergens,
        ),
    }
)


@settings(max_examples=20)
@given(lots, st.sampled_from(["csv", "xlsx"]))
def test_lots_come_back_as_they_were(lot, form):
    with undone():
        an_oil("olive")
        by = person()
        receive_opening_lot(OpeningLot(code="OL-1", material="olive", received_on=DAY, **lot))
        same = imported("lots", exported("lots", by=by, form=form), by=by, mode="change")
        assert (same.state, same.changed, same.unchanged, same.faults) == ("done", 0, 1, [])
        other = exported("lots", by=by).replace(b"OL-1,", b"OL-2,")
        again = imported("lots", other, by=by)
        assert (again.state, again.faults) == ("done", [])
        first, second = (Lot.objects.get(code=code) for code in ("OL-1", "OL-2"))
        for name in ("on_hand", "cost", "best_before", "certificate", "state"):
            assert getattr(first, name) == getattr(second, name)


def test_stock_that_is_there_is_never_rewritten():
    by = person()
    an_oil("olive"), an_oil("palm"), a_supplier("mill-lane")
    a_lot()
    content = HEADS + "OL-1,palm,4 kg,50,2026-03-03,mill-lane\n"
    run = imported("lots", content, by=by, mode="change")
    assert told(run) == [
        (2, "material", "fixed"),
        (2, "supplier", "fixed"),
        (2, "received_on", "fixed"),
        (2, "amount", "stock-fixed"),
        (2, "cost", "stock-fixed"),
    ]
    assert StockEntry.objects.count() == 1


def test_certificates_places_and_states_are_brought_up():
    by = person()
    an_oil("olive")
    Location.objects.create(code="shelf-2", name="Shelf 2", kind="shelf")
    a_lot()
    content = (
        "code,location,state,state_reason,sv_mg_koh_g,allergens,amount\n"
        "OL-1,shelf-2,blocked,smells,189.4,Linalool 1.2 %,5 kg\n"
    )
    assert counted(imported("lots", content, by=by, mode="change")) == ("done", 0, 1, 0)
    lot = Lot.objects.get()
    assert (lot.location.code, lot.state, lot.state_reason) == ("shelf-2", "blocked", "smells")
    assert lot.sv_mg_koh_g == Decimal("189.4")
    assert lot.allergens == [{"name": "Linalool", "share": "0.012"}]
    assert counted(imported("lots", content, by=by, mode="change")) == ("done", 0, 0, 1)


def test_an_unusual_value_that_stands_already_is_confirmed_by_its_row():
    by = person()
    an_oil("olive")
    lot = a_lot(certificate=Certificate(sv_mg_koh_g=Decimal(220)))
    # Since then it was written down what is usual of the oil.
    Material.objects.update(sv_low_mg_koh_g=184, sv_high_mg_koh_g=196)
    rows = {word: f"code,sv_mg_koh_g,confirmed\nOL-1,220,{word}\n" for word in ("yes", "no", "")}
    for word in ("no", ""):
        assert counted(imported("lots", rows[word], by=by, mode="change")) == ("done", 0, 0, 1)
    assert not lot.confirmations.exists()
    assert counted(imported("lots", rows["yes"], by=by, mode="change")) == ("done", 0, 1, 0)
    kept = lot.confirmations.get()
    assert (kept.code, kept.value, kept.by) == (SAPONIFICATION, 220, by)
    other = person("maker")
    assert counted(imported("lots", rows["yes"], by=other, mode="change")) == ("done", 0, 0, 1)
    assert lot.confirmations.get().by == by


def test_a_row_of_a_lot_that_is_free_leaves_it_so():
    an_oil("olive")
    a_lot()
    content = "code,state,state_reason\nOL-1,released,looked at\n"
    assert counted(imported("lots", content, by=person(), mode="change")) == ("done", 0, 0, 1)


def test_nothing_is_confirmed_where_all_is_usual():
    an_oil("olive")
    lot = a_lot(certificate=Certificate(sv_mg_koh_g=Decimal(190)))
    content = "code,confirmed\nOL-1,yes\n"
    assert counted(imported("lots", content, by=person(), mode="change")) == ("done", 0, 0, 1)
    assert not lot.confirmations.exists()


def test_faults_stand_at_their_cells():
    an_oil("olive", density_g_ml=None), boxes("wrap")
    an_oil("poured", kind=MaterialKind.BATTER)
    content = (
        "code,material,amount,cost,received_on,supplier,best_before,state,location\n"
        "a,nothing,1 kg,1,2026-03-02,nobody,,,\n"
        "b,olive,1 gal,1,2026-03-02,,2026-01-01,,\n"
        "c,wrap,1 kg,1,2026-03-02,,,,\n"
        "d,poured,1 kg,1,2026-03-02,,,,\n"
        "e,olive,0 kg,1,2026-03-02,,,blocked,\n"
        "f,olive,1 kg,,2026-03-02,,,,\n"
        "g,olive,1 kg,1,2026-03-02,,,,nowhere\n"
        "L-99999999,olive,1 kg,1,2026-03-02,,,,\n"
    )
    run = imported("lots", content, by=person())
    assert set(told(run)) == {
        (2, "material", "not-found"),
        (2, "supplier", "not-found"),
        (3, "amount", "no-density"),
        (3, "best_before", "best-before-passed"),
        (4, "amount", "wrong-dimension"),
        (5, "material", "poured-here"),
        (6, "amount", "nothing"),
        (6, "state_reason", "reason-missing"),
        (7, "cost", "needed"),
        (8, "location", "not-found"),
        (9, "code", "out-of-range"),
    }
    assert not Lot.objects.exists()


def test_codes_of_the_studios_own_form_are_not_given_out_again():
    an_oil("olive")
    rows = "L-00042,olive,1 kg,1,2026-03-02,\nB-00007-made,olive,1 kg,1,2026-03-02,\n"
    run = imported("lots", HEADS + rows, by=person())
    assert run.state == "done"
    assert (next_code("L"), next_code("B")) == ("L-00043", "B-00008")
    imported("lots", HEADS + "L-00005,olive,1 kg,1,2026-03-02,\n", by=person())
    assert next_code("L") == "L-00044"


def test_new_lots_need_leave_to_see_costs():
    an_oil("olive")
    content = "code,material,amount,received_on\nOL-1,olive,1 kg,2026-03-02\n"
    run = imported("lots", content, by=person("maker"))
    assert told(run) == [(2, "cost", "needed")]
    assert "an owner has not opened costs" in run.faults[0]["message"]


def test_empty_lots_and_poured_soap_are_not_exported():
    an_oil("olive")
    a_lot(), a_lot("OL-2")
    lot = Lot.objects.get(code="OL-2")
    count_lot(Counted(lot_id=lot.pk, found=0, on=DAY), origin=Origin(reference="count:1"))
    lines = exported("lots", by=person()).decode().splitlines()
    assert len(lines) == 2 and lines[1].startswith("OL-1,")


def test_an_export_of_lots_is_three_queries_however_many(django_assert_num_queries):
    by = person()
    olive = an_oil("olive")
    rows = [
        Lot(code=f"OL-{number}", material=olive, received_on=DAY, on_hand=10**9, cost=number)
        for number in range(2_000)
    ]
    Lot.objects.bulk_create(rows)
    with django_assert_num_queries(3):
        assert exported("lots", by=by).count(b"\r\n") == 2_001


def test_bars_that_still_cure_come_in_held_until_their_day():
    by = person()
    an_oil("bar", kind=MaterialKind.BAR, counted=True)
    heads = "code,material,amount,cost,received_on,state,cures_until\n"
    content = heads + "B-OLD,bar,12 each,30,2026-03-02,quarantine,2026-04-01\n"
    assert counted(imported("lots", content, by=by)) == ("done", 1, 0, 0)
    held = Hold.objects.get()
    assert (held.cause, held.until, held.reference) == ("cure", date(2026, 4, 1), "opening:B-OLD")
    assert (held.on, held.by, held.lot.state) == (DAY, by, "quarantine")
    same = imported("lots", exported("lots", by=by), by=by, mode="change")
    assert counted(same) == ("done", 0, 0, 1)
    moved = content.replace("2026-04-01", "2026-05-01")
    assert told(imported("lots", moved, by=by, mode="change")) == [(2, "cures_until", "fixed")]


@pytest.mark.parametrize(
    ("material", "state", "until", "code"),
    [
        ("bar", "released", "2026-04-01", "not-curing"),
        ("olive", "quarantine", "2026-04-01", "not-curing"),
        ("bar", "quarantine", "2026-03-01", "day-outside"),
        ("bar", "quarantine", "2126-03-01", "day-outside"),
    ],
)
def test_only_bars_in_quarantine_cure(material, state, until, code):
    an_oil("bar", kind=MaterialKind.BAR, counted=True), an_oil("olive")
    amount = "1 kg" if material == "olive" else "12 each"
    heads = "code,material,amount,cost,received_on,state,cures_until\n"
    content = f"{heads}X-1,{material},{amount},30,2026-03-02,{state},{until}\n"
    assert told(imported("lots", content, by=person())) == [(2, "cures_until", code)]


def test_a_state_in_a_table_holds_and_releases_but_never_sets():
    by = person()
    an_oil("olive")
    lot = a_lot(state=LotState.QUARANTINE)
    heads = "code,state,state_reason\n"

    def take(row):
        return imported("lots", heads + row, by=by, mode="change")

    assert told(take("OL-1,released,\n")) == [(2, "state_reason", "invalid-input")]
    assert counted(take("OL-1,released,its certificate came\n")) == ("done", 0, 1, 0)
    assert counted(take("OL-1,released,its certificate came\n")) == ("done", 0, 0, 1)
    assert counted(take("OL-1,blocked,smells\n")) == ("done", 0, 1, 0)
    assert told(take("OL-1,blocked,dusty\n")) == [(2, "state_reason", "invalid-input")]
    assert told(take("OL-1,quarantine,\n")) == [(2, "state", "lot-held")]
    recall_lot("OL-1", "rancid")
    assert told(take("OL-1,released,aired\n")) == [(2, "state", "lot-held")]
    lot.refresh_from_db()
    assert lot.state_reason == "smells; recall R-00001: rancid"
