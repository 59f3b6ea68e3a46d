"""Random walks over all verbs of the stock, each step beside the model of `shelf_model`.

The long run walks more often, and makes a walk that fails as short as it can be.
"""

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from inventory.domain.stock.holds import Cause, NewHold
from inventory.domain.stock.ledger import Balance, Verb
from inventory.domain.stock.ledger import holds as lawful
from inventory.models.catalog.materials import Material
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.models.stock.reservations import ReservationLine, ReservationState
from inventory.queries.stock.candidates import ChosenLot
from inventory.services.counting.counts import Counted, count_lot, spoil_lot
from inventory.services.stock.consumption import Actual, consume_reservation, draw
from inventory.services.stock.hold_verbs import hold_lot, release_lot
from inventory.services.stock.ledger import Origin
from inventory.services.stock.production import NewLot, add_cost, open_lots
from inventory.services.stock.proof import prove_books
from inventory.services.stock.reservations import Holding, expire_reservations, release, reserve
from studio.foundation.errors import Refusal, StateConflict
from tests.inventory.making import TODAY, make_material
from tests.scenarios.shelf_model import ModelLot, Shelf

#: A failing walk of every run is not made shorter: that takes minutes on a real database.
GENERATED = (Phase.generate,)
WALKS = [
    pytest.param(20, GENERATED, id="20"),
    pytest.param(300, tuple(Phase), id="300", marks=pytest.mark.long),
]
BOOK = Origin(reference="walk", note="walked")
MATERIALS = 3

amounts = st.integers(1, 30) | st.integers(1, 10**15)
small = st.integers(1, 30)
costs = st.integers(0, 100) | st.integers(0, 10**9)
which = st.integers(0, 10**4)
days = st.none() | st.integers(-1, 4)
needs = st.dictionaries(st.integers(0, MATERIALS - 1), small, min_size=1)
used = st.dictionaries(st.integers(0, MATERIALS - 1), st.integers(-6, 6), min_size=1)
splits = st.lists(st.tuples(which, small), max_size=3)


class LedgerWalk(RuleBasedStateMachine):
    """One shelf in a database and one in memory, which must stay the same."""

    def __init__(self, database):
        super().__init__()
        database.restore()
        self.shelf = Shelf()
        self.today = TODAY
        self.holders = 0
        self.cost_in = 0
        self.cost_out = 0

    @initialize()
    def stock_materials(self):
        self.materials = [make_material(counted=n == 0).pk for n in range(MATERIALS)]
        for place in range(MATERIALS):
            self.come_in(
                place=place,
                amount=20,
                cost=99,
                good_for=None,
                verb=Verb.RECEIVE,
                holds=(),
            )

    @property
    def book(self):
        return replace(BOOK, on=self.today)

    @rule(
        place=st.integers(0, MATERIALS - 1),
        amount=amounts,
        cost=costs,
        good_for=days,
        verb=st.sampled_from([Verb.RECEIVE, Verb.PRODUCE]),
        holds=st.sampled_from([(), (), (NewHold(cause=Cause.ARRIVAL, reason="to be checked"),)]),
    )
    def come_in(self, *, place, amount, cost, good_for, verb, holds):
        new = NewLot(
            material=Material.objects.get(pk=self.materials[place]),
            amount=amount,
            cost=cost,
            received_on=self.today,
            best_before=None if good_for is None else self.today + timedelta(days=good_for),
            holds=holds,
        )
        (lot,) = open_lots([new], verb=verb, origin=self.book)
        self.shelf.lots[lot.pk] = ModelLot(
            lot.pk,
            lot.code,
            lot.material_id,
            lot.received_on,
            lot.best_before,
            {each.cause for each in holds},
            Balance(amount, 0, cost),
            made=amount if verb is Verb.PRODUCE else 0,
        )
        self.cost_in += cost

    @rule(n=which, cost=st.integers(-60, 200))
    def cost_is_added(self, n, cost):
        lot = self.lot(n)
        if self.alike(
            lambda: self.shelf.add_cost(lot, cost), lambda: add_cost(lot, cost, origin=self.book)
        ):
            self.cost_in += cost

    @rule(needs=needs, choice=st.none() | which, expires=st.none() | st.integers(0, 4))
    def reserve(self, needs, choice, expires):
        wanted = {self.materials[place]: amount for place, amount in needs.items()}
        chosen = {}
        if choice is not None:
            lot = self.shelf.lots[self.lot(choice)]
            chosen = {lot.material: [(lot.id, None)]}
        until = None if expires is None else self.today + timedelta(days=expires)
        self.holders += 1
        holding = Holding(
            needs=wanted,
            holder=f"walk:{self.holders}",
            on=self.today,
            expires_on=until,
            chosen=self.named(chosen),
        )
        held = []
        expected = []
        if self.alike(
            lambda: expected.extend(self.shelf.picks(wanted, chosen, self.today)),
            lambda: held.append(reserve(holding)),
        ):
            assert [(lot.pk, amount) for lot, amount in held[0].lots] == expected
            self.shelf.reserve(held[0].reservation.pk, expected, until)

    @precondition(lambda self: self.shelf.open)
    @rule(n=which)
    def release(self, n):
        key = self.reservation(n)
        self.shelf.release(key)
        assert release(key).state == ReservationState.RELEASED

    @precondition(lambda self: self.shelf.open)
    @rule(n=which, used=used)
    def consume_what_was_used(self, n, used):
        """Less, exactly, or more than was held, of some of the materials."""
        key = self.reservation(n)
        held = self.held_by_material(key)
        self.consume(
            key,
            {m: max(0, held.get(m, 0) + more) for m, more in self.of_materials(used).items()},
            {},
        )

    @precondition(lambda self: self.shelf.open)
    @rule(
        n=which, split=splits, place=st.integers(0, MATERIALS - 1), off=st.sampled_from([0, 0, 1])
    )
    def consume_other_lots(self, n, split, place, off):
        """From lots the maker names, which may be too little, blocked, or another material."""
        material = self.materials[place]
        lots = [lot.id for lot in self.shelf.lots.values() if lot.material == material]
        named = {(lots[i % len(lots)] if i % 10 else self.lot(i)): amount for i, amount in split}
        amount = sum(named.values()) + off
        self.consume(
            self.reservation(n),
            {material: amount},
            {material: list(named.items())} if named else {},
        )

    def consume(self, key, used, chosen):
        actual = Actual(amounts=used, chosen=self.named(chosen))
        taken = []
        self.alike(
            lambda: self.shelf.consume(key, used, chosen, self.today),
            lambda: taken.extend(consume_reservation(key, actual, on=self.today, origin=BOOK)),
        )
        self.cost_out += sum(part.cost for part in taken)

    @rule(n=which, found=st.integers(0, 40), near=st.none() | st.integers(-5, 5))
    def count(self, n, found, near):
        lot = self.lot(n)
        before = self.shelf.lots[lot].balance
        found = found if near is None else max(0, before.on_hand + near)
        if self.alike(
            lambda: self.shelf.count(lot, found),
            lambda: count_lot(Counted(lot_id=lot, found=found, on=self.today), origin=BOOK),
        ):
            self.cost_out += before.cost - Lot.objects.get(pk=lot).cost

    @rule(n=which, amount=small, everything=st.booleans())
    def spoil(self, n, amount, everything):
        lot = self.lot(n)
        before = self.shelf.lots[lot].balance
        amount = (everything and before.available) or amount
        if self.alike(
            lambda: self.shelf.draw(lot, amount, Verb.SPOIL, on=self.today),
            lambda: spoil_lot(lot, amount, origin=self.book),
        ):
            self.cost_out += before.cost - Lot.objects.get(pk=lot).cost

    @rule(n=which, amount=small, verb=st.sampled_from([Verb.SHIP, Verb.CONSUME]))
    def take_unreserved(self, n, amount, verb):
        lot = self.lot(n)
        taken = []
        self.alike(
            lambda: self.shelf.draw(lot, amount, verb, on=self.today),
            lambda: taken.append(draw(lot, amount, verb=verb, origin=self.book)),
        )
        self.cost_out += sum(part.cost for part in taken)

    @rule(n=which, cause=st.sampled_from([Cause.ARRIVAL, Cause.BY_HAND]))
    def hold_it(self, n, cause):
        lot = self.lot(n)
        hold_lot(lot, reason="judged", cause=cause, on=self.today)
        self.shelf.lots[lot].causes.add(cause)

    @rule(n=which)
    def release_it(self, n):
        lot = self.lot(n)
        if not self.shelf.lots[lot].causes:
            with pytest.raises(StateConflict):
                release_lot(lot, reason="judged")
            return
        release_lot(lot, reason="judged", on=self.today)
        self.shelf.lots[lot].causes.clear()

    @rule(passed=st.integers(1, 3))
    def days_pass(self, passed):
        self.today += timedelta(days=passed)
        assert expire_reservations(today=self.today) == self.shelf.expire(self.today)

    @invariant()
    def rows_equal_the_model(self):
        rows = {
            pk: Balance(*balance)
            for pk, *balance in Lot.objects.values_list("pk", "on_hand", "reserved", "cost")
        }
        assert rows == self.shelf.balances()
        states = dict(Lot.objects.values_list("pk", "state"))
        assert states == {lot.id: lot.state.value for lot in self.shelf.lots.values()}
        assert all(lawful(balance) for balance in rows.values())
        lines = ReservationLine.objects.filter(remaining__gt=0)
        assert self.shelf.lines() == {
            (line.reservation_id, line.lot_id): line.remaining for line in lines
        }

    @invariant()
    def books_are_proved(self):
        proof = prove_books()
        assert proof.holds, proof.differences
        assert proof.lots == len(self.shelf.lots)

    @invariant()
    def cost_is_conserved(self):
        left = sum(balance.cost for balance in self.shelf.balances().values())
        assert self.cost_in == self.cost_out + left

    def alike(self, expected, act):
        """Do both; where the model refuses, the service refuses alike and writes nothing."""
        try:
            expected()
        except Refusal as refusal:
            entries = StockEntry.objects.count()
            with pytest.raises(type(refusal)):
                act()
            assert StockEntry.objects.count() == entries
            return False
        act()
        return True

    def lot(self, n):
        return sorted(self.shelf.lots)[n % len(self.shelf.lots)]

    def reservation(self, n):
        return sorted(self.shelf.open)[n % len(self.shelf.open)]

    def of_materials(self, by_place):
        return {self.materials[place]: value for place, value in by_place.items()}

    def held_by_material(self, key):
        held = {}
        for lot_id, amount in self.shelf.open[key].lines.items():
            material = self.shelf.lots[lot_id].material
            held[material] = held.get(material, 0) + amount
        return held

    def named(self, chosen):
        return {
            material: [ChosenLot(code=self.shelf.lots[lot].code, amount=n) for lot, n in some]
            for material, some in chosen.items()
        }


@pytest.mark.parametrize(("walks", "phases"), WALKS)
def test_any_walk_over_the_verbs_keeps_the_books(database, walks, phases):
    run_state_machine_as_test(
        lambda: LedgerWalk(database),
        settings=settings(
            max_examples=walks,
            stateful_step_count=30,
            phases=phases,
            suppress_health_check=list(HealthCheck),
        ),
    )
