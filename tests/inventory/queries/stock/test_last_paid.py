"""What was last paid, and what was made of lots, on both databases."""

from datetime import timedelta

from inventory.models.stock.lots import LotLink
from inventory.queries.shipping.trace import made_of_these
from inventory.queries.stock.last_paid import Paid, last_paid_for
from inventory.queries.stock.on_hand import materials_held_in
from tests.inventory.making import KG, TODAY, make_lot, make_material

DAY = timedelta(days=1)


def test_the_newest_purchase_up_to_a_day_counts_and_what_came_for_nothing_does_not(database):
    oil, salt, nothing = (make_material(code) for code in ("oil", "salt", "nothing"))
    make_lot(oil, 5 * KG, 60_000, received_on=TODAY + DAY)
    make_lot(oil, 2 * KG, 20_000, received_on=TODAY)
    make_lot(oil, KG, 0, received_on=TODAY + 2 * DAY)
    make_lot(salt, KG, 5_000, received_on=TODAY)
    make_lot(salt, KG, 6_000, received_on=TODAY)  # the later entry of one day
    wanted = [oil.pk, salt.pk, nothing.pk]
    assert last_paid_for(wanted, on=TODAY) == {
        oil.pk: Paid(amount=2 * KG, cost=20_000, on=TODAY),
        salt.pk: Paid(amount=KG, cost=6_000, on=TODAY),
    }
    late = last_paid_for(wanted, on=TODAY + 9 * DAY)
    assert late[oil.pk] == Paid(amount=5 * KG, cost=60_000, on=TODAY + DAY)
    assert last_paid_for([nothing.pk], on=TODAY) == last_paid_for([], on=TODAY) == {}


def test_what_was_made_of_a_lot_is_found_on_every_level(database):
    lots = [make_lot(make_material(f"level-{n}"), KG) for n in range(5)]
    for parent, child in ((0, 1), (1, 2), (0, 2), (3, 4)):
        LotLink.objects.create(parent=lots[parent], child=lots[child], amount=1)
    pks = [lot.pk for lot in lots]
    assert made_of_these([pks[0]]) == set(pks[:3])
    assert made_of_these([pks[1], pks[3]]) == {*pks[1:5]}
    assert made_of_these([]) == set()
    held = materials_held_in(pks[:2])
    assert held == {lot.material_id for lot in lots[:2]} and materials_held_in([]) == frozenset()
