"""Materials, suppliers and offers from tables: kept by the services, and round trips are exact."""

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.domain.catalog.packs import PriceBreak
from inventory.models.catalog.materials import Material
from inventory.models.catalog.suppliers import Offer, Supplier
from inventory.services.catalog.materials import add_material
from inventory.services.catalog.suppliers import OfferDescription, save_offer, save_supplier
from studio.foundation.model_fields import described
from tests.inventory.buying import GALLON_ML, a_supplier, an_offer, an_oil, boxes
from tests.studio.web.api.people import person
from tests.studio.work.exchange.carrying import counted, exported, imported, told, undone

pytestmark = pytest.mark.django_db
letters = st.characters(codec="utf-8", exclude_characters="\x00")
#: As people write; the cells of a table keep no text that is blank.
words = st.text(letters, min_size=1, max_size=30).filter(lambda text: text.strip() == text)
notes = st.just("") | words | st.text("=+-@'\t\r\n;\",", min_size=1, max_size=8).filter(str.strip)
shares = st.none() | st.decimals(0, 1, places=6)
money = st.integers(0, 10**12)
materials = st.builds(
    dict,
    code=st.from_regex(r"[a-z][a-z0-9]{3,9}", fullmatch=True),
    name=words,
    kind=st.sampled_from(["fat", "liquid", "additive"]),
    density_g_ml=st.none() | st.decimals("0.1", 2, places=6),
    iodine_value=st.none() | st.decimals(0, 300, places=3),
    sv_mg_koh_g=st.none() | st.decimals(50, 400, places=3),
    fatty_acids=st.dictionaries(
        st.sampled_from(["C12:0", "C18:1", "C18:1-OH"]), st.decimals(0, "0.3", places=6)
    ),
    water_share=shares,
    shelf_life_days=st.none() | st.integers(1, 36_500),
    reorder_point=st.none() | st.integers(0, 10**17),
    shelf_space=st.none() | st.integers(1, 10**17),
    low_stock_alerts=st.booleans(),
    tempering=st.booleans(),
    active=st.booleans(),
    note=notes,
)
suppliers = st.builds(
    Supplier,
    code=st.just("mill-lane"),
    name=words,
    phone=st.text("+0123456789 ", max_size=12).map(str.strip),
    lead_time_days=st.integers(0, 730),
    minimum_order=money,
    freight=money,
    free_freight_from=st.none() | money,
    order_handling=st.none() | money,
    note=notes,
)
FORMS = st.sampled_from([("csv", "comma"), ("csv", "semicolon"), ("xlsx", "comma")])


def told_of(row):
    return {name: getattr(row, name) for name in described(Material)}, row.acids


def carried_over(name, model, by, form):
    """Export, import unchanged, empty the table, import again; both exports as CSV."""
    content = exported(name, by=by, form=form[0], delimiter=form[1])
    before = exported(name, by=by)
    same = imported(name, content, by=by, mode="change")
    assert (counted(same)[0], same.created, same.changed, same.faults) == ("done", 0, 0, [])
    model.objects.all().delete()
    again = imported(name, content, by=by)
    assert (again.state, again.faults) == ("done", [])
    return before, exported(name, by=by)


@settings(max_examples=20)
@given(st.lists(materials, min_size=1, max_size=4, unique_by=lambda one: one["code"]), FORMS)
def test_materials_come_back_as_they_were(described, form):
    with undone():
        for one in described:
            add_material(**one)
        kept = {row.code: told_of(row) for row in Material.objects.all()}
        before, after = carried_over("materials", Material, person(), form)
        assert before == after
        assert {row.code: told_of(row) for row in Material.objects.all()} == kept


@settings(max_examples=20)
@given(suppliers, FORMS)
def test_suppliers_come_back_as_they_were(described, form):
    with undone():
        save_supplier(described)
        before, after = carried_over("suppliers", Supplier, person(), form)
        assert before == after


offers = st.fixed_dictionaries(
    {
        "pack_written": st.sampled_from(["1 gal", "35 lb", "7 lb 8 oz", "2 1/2 kg"]),
        "density_g_ml": st.none() | st.decimals("0.1", 2, places=6),
        "valid_from": st.none() | st.dates(date(1900, 3, 1), date(2199, 12, 31)),
        "price": money.filter(bool),
    }
)


@settings(max_examples=20)
@given(offers, st.integers(2, 10**6), FORMS)
def test_offers_come_back_as_they_were(offer, packs, form):
    with undone():
        supplier, oil = a_supplier(), an_oil()
        breaks = (PriceBreak(packs, offer["price"] - 1),)
        names = {"code": "one", "supplier": supplier.code, "material": oil.code}
        save_offer(OfferDescription(**names, **offer, breaks=breaks))
        before, after = carried_over("offers", Offer, person(), form)
        assert before == after


def test_amounts_are_read_as_people_write_them():
    content = (
        "code,name,kind,counted,piece_mass,density_g_ml,reorder_point,shelf_space\n"
        'olive,Olive oil,fat,no,,0.915,7 lb 8 oz,1 gal\negg,Egg,liquid,yes,50 g,,"12 each",\n'
    )
    assert counted(imported("materials", content, by=person())) == ("done", 2, 0, 0)
    olive, egg = (Material.objects.get(code=code) for code in ("olive", "egg"))
    # NIST Handbook 44, appendix C: the pound and the gallon.
    assert olive.reorder_point == 7.5 * 453_592_370_000
    assert olive.shelf_space == round(GALLON_ML * Decimal("0.915") * 10**9)
    assert (egg.reorder_point, egg.piece_mass) == (12, 50 * 10**9)


def test_columns_that_are_left_out_stay_and_empty_cells_empty():
    by = person()
    an_oil("olive", name="Olive oil", note="first press", shelf_life_days=500)
    run = imported("materials", "code,note,iodine_value\nolive,,82\n", by=by, mode="change")
    assert counted(run) == ("done", 0, 1, 0)
    olive = Material.objects.get(code="olive")
    assert (olive.note, olive.iodine_value) == ("", Decimal(82))
    assert (olive.name, olive.shelf_life_days, olive.revision) == ("Olive oil", 500, 2)
    assert olive.history.first().history_user == by


def test_faults_of_the_services_stand_at_their_cells():
    an_oil("olive")
    content = (
        "code,name,kind,density_g_ml,fatty_acids,reorder_to,water_share,fat_share\n"
        "a,A,fat,25,,,,\n"
        "b,B,fat,,C12:0 0.9; lauric 0.2,,,\n"
        "c,C,fat,,C12:0 0.9; C18:1 0.9,,,\n"
        "d,D,fat,,,5 kg,0.9,20 %\n"
        "e,E,fat,,,5 L,,\n"
        "f,,fat,,,,,\n"
    )
    run = imported("materials", content, by=person())
    assert told(run) == [
        (2, "density_g_ml", "out-of-range"),
        (3, "fatty_acids", "invalid-input"),
        (4, "fatty_acids", "too-many-fatty-acids"),
        (5, "water_share", "composition-impossible"),
        (5, "reorder_point", "reorder-point-missing"),
        (6, "reorder_to", "no-density"),
        (7, "name", "needed"),
    ]


def test_offers_name_what_is_there():
    a_supplier("mill-lane")
    boxes("wrap")
    content = (
        "code,supplier,material,pack_written,price\n"
        "a,nobody,wrap,12 each,5\nb,mill-lane,nothing,12 each,5\nc,mill-lane,wrap,1 gal,5\n"
        "d,mill-lane,wrap,12 each,\n"
    )
    run = imported("offers", content, by=person())
    assert told(run) == [
        (2, "supplier", "not-found"),
        (3, "material", "not-found"),
        (4, "pack_written", "wrong-dimension"),
        (5, "price", "needed"),
    ]


def test_without_leave_to_see_costs_prices_stay_and_new_offers_are_refused():
    maker = person("maker")
    offer = an_offer(a_supplier("mill-lane"), an_oil("olive"), "1 gal", 385_000, code="one")
    run = imported("offers", "code,supplier_item\none,OO-1\n", by=maker, mode="change")
    assert counted(run) == ("done", 0, 1, 0)
    offer.refresh_from_db()
    assert (offer.price, offer.supplier_item) == (385_000, "OO-1")
    new = "code,supplier,material,pack_written\ntwo,mill-lane,olive,1 gal\n"
    assert told(imported("offers", new, by=maker)) == [(2, "price", "needed")]


def test_exports_have_a_fixed_number_of_queries(django_assert_num_queries):
    by = person()
    for number in range(3):
        an_offer(a_supplier(f"s-{number}"), an_oil(f"oil-{number}"), "1 gal")
    for name, queries in (("materials", 2), ("suppliers", 1), ("offers", 1)):
        by.refresh_from_db()
        with django_assert_num_queries(queries + 1):  # and the role
            exported(name, by=by)
