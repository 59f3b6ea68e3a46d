"""Trees of batches that want the same stock at the same moment, while others pour and let go."""

import random

from inventory.errors import NotEnoughStock
from inventory.models.stock.lots import Lot
from inventory.models.stock.reservations import Reservation
from inventory.services.stock.proof import prove_books
from recipes.errors import BatchConflict
from recipes.models.bench.batches import Batch
from recipes.services.bench.batches import unreserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.levels.multilevel import cancel_tree, plan_tree, reserve_tree
from tests.inventory.making import KG, TODAY
from tests.recipes.levels import fill, make_levels, soap_plan
from tests.threads import at_once


def trees(count):
    """Trees that each make all for themselves: planned while the shelf was bare of what is made."""
    return [plan_tree(soap_plan(), planned_on=TODAY) for _ in range(count)]


def test_only_as_many_trees_win_as_there_is_stock_for_and_each_whole(database):
    levels = make_levels()
    planned = trees(6)
    # Coconut oil is 400 g a tree: enough for two, and of the rest for all.
    fill(levels, 20 * KG, coconut=KG)
    answers = at_once(lambda tree: reserve_tree(tree.top.code), planned)
    won = [answer for answer in answers if not isinstance(answer, Exception)]
    assert len(won) == 2
    lost = [answer for answer in answers if isinstance(answer, Exception)]
    assert {type(answer) for answer in lost} == {NotEnoughStock}
    assert Reservation.objects.filter(state="open").count() == 2 * 4
    assert Batch.objects.filter(state="reserved").count() == 2 * 4
    assert prove_books().holds


def test_pours_on_every_level_and_trees_given_back_never_deadlock(database):
    levels = make_levels()
    planned = trees(4)
    for _ in range(3):
        fill(levels, 20 * KG, box=300)
    for tree in planned:
        reserve_tree(tree.top.code)

    def work(job):
        tree, step = job
        order = random.Random(step)
        if step == 0:
            for batch in tree.making:
                pour_batch(batch.code, Poured(on=TODAY))
        elif order.random() < 0.5:
            unreserve_batch(tree.top.code)
            reserve_tree(tree.top.code)
        else:
            cancel_tree(tree.top.code)

    answers = at_once(work, [(tree, step) for step in range(3) for tree in planned])
    # Out of turn, or what was to come is called off: refusals, but never a deadlock.
    refused = (BatchConflict, NotEnoughStock)
    assert [a for a in answers if a is not None and not isinstance(a, refused)] == []
    assert not Lot.objects.filter(on_hand__lt=0).exists()
    assert prove_books().holds
