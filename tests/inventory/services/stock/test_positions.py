"""What is to be expected of each material."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.domain.stock.lots import LotState
from inventory.models.catalog.materials import Material
from inventory.queries.stock.on_hand import available_by_material
from inventory.queries.stock.positions import stock_positions
from inventory.services.buying.requirements import require
from inventory.services.stock.hold_verbs import hold_lot
from inventory.services.stock.reservations import Holding, release, reserve
from tests.inventory.buying import a_supplier, an_offer, an_oil, an_order
from tests.inventory.making import KG, TODAY, make_lot

YESTERDAY, TOMORROW = TODAY - timedelta(days=1), TODAY + timedelta(days=1)


def position_of(material):
    return stock_positions(on=TODAY)[material.pk]


def test_only_usable_stock_counts_and_the_rest_is_shown_apart(database):
    oil = an_oil()
    make_lot(oil, 1 * KG)
    make_lot(oil, 2 * KG, best_before=TODAY)
    make_lot(oil, 4 * KG, best_before=YESTERDAY)
    make_lot(oil, 8 * KG, state=LotState.QUARANTINE)
    make_lot(oil, 16 * KG, state=LotState.BLOCKED)
    make_lot(oil, 32 * KG, state=LotState.QUARANTINE, best_before=YESTERDAY)
    position = position_of(oil)
    assert (position.on_hand, position.quarantine, position.unusable) == (3 * KG, 8 * KG, 52 * KG)
    assert position.available == available_by_material([oil.pk], on=TODAY)[oil.pk] == 3 * KG


def test_a_plan_counts_until_its_holder_has_reserved(database):
    oil = an_oil()
    make_lot(oil, 10 * KG)
    require({oil.pk: 4 * KG}, holder="batch:1", due_on=TOMORROW)
    require({oil.pk: 3 * KG}, holder="batch:2", due_on=TOMORROW)
    assert (position_of(oil).planned, position_of(oil).projected) == (7 * KG, 3 * KG)
    held = reserve(Holding(needs={oil.pk: 4 * KG}, holder="batch:1", on=TODAY))
    position = position_of(oil)
    assert (position.reserved, position.planned, position.projected) == (4 * KG, 3 * KG, 3 * KG)
    release(held.reservation.pk)
    assert (position_of(oil).reserved, position_of(oil).planned) == (0, 7 * KG)


def test_what_is_reserved_in_a_lot_that_was_blocked_is_still_needed(database):
    oil = an_oil()
    lot = make_lot(oil, 5 * KG)
    reserve(Holding(needs={oil.pk: 2 * KG}, holder="batch:1", on=TODAY))
    hold_lot(lot.pk, reason="smells rancid")
    position = position_of(oil)
    assert (position.on_hand, position.reserved, position.reserved_usable) == (0, 2 * KG, 0)
    assert (position.available, position.projected) == (0, -2 * KG)


def test_what_is_on_order_counts(database):
    oil = an_oil()
    an_order(an_offer(a_supplier(), oil, "5 kg"), 2)
    assert (position_of(oil).on_order, position_of(oil).projected) == (10 * KG, 10 * KG)


def test_a_choice_of_materials_is_answered_like_all(database):
    oils = [an_oil() for _ in range(3)]
    for number, oil in enumerate(oils, start=1):
        make_lot(oil, number * KG)
        require({oil.pk: KG}, holder=f"batch:{number}", due_on=TODAY)
        an_order(an_offer(a_supplier(), oil, "5 kg"), 2)
    wanted = [oil.pk for oil in oils[1:]]
    everything = stock_positions(on=TODAY)
    chosen = {pk: everything[pk] for pk in wanted}
    assert stock_positions(on=TODAY, materials=wanted) == chosen
    assert stock_positions(on=TODAY, materials=Material.objects.filter(pk__in=wanted)) == chosen
    assert list(everything) == [oil.pk for oil in sorted(oils, key=lambda oil: oil.code)]


@pytest.mark.parametrize("materials", [1, 30])
def test_positions_take_five_queries_for_any_number_of_materials(database, materials):
    for number in range(materials):
        oil = an_oil()
        make_lot(oil, KG)
        require({oil.pk: KG}, holder=f"batch:{number}", due_on=TODAY)
    with CaptureQueriesContext(connection) as captured:
        assert len(stock_positions(on=TODAY)) == materials
    assert len(captured) == 5
