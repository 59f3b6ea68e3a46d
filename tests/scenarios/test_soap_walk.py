"""Random walks from the delivery to the sale, over all that may go wrong with lye on the way.

Each ends with a balance of mass, alkali and money in fractions (`soap_truth`). The long run walks
more often.
"""

import sys
from datetime import timedelta
from decimal import Decimal as D

import pytest
from django.db import transaction
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    rule,
    run_state_machine_as_test,
)

from inventory.domain.stock.holds import Cause, Decision, NewHold, Outcome
from inventory.domain.stock.ledger import Verb
from inventory.models.shipping.recalls import Recall
from inventory.models.shipping.shipments import Shipment
from inventory.models.stock.lots import Lot
from inventory.queries.shipping.trace import made_of_these
from inventory.queries.stock.candidates import ChosenLot
from inventory.services.counting.counts import Counted, count_lot, spoil_lot
from inventory.services.shipping.recall import lift_recall, recall_lot
from inventory.services.shipping.returns import Returning, return_shipment
from inventory.services.shipping.shipments import Shipping, ToShip, ship
from inventory.services.stock.hold_verbs import decide_lot, hold_lot, release_lot
from inventory.services.stock.ledger import Origin
from inventory.services.stock.production import NewLot, open_lots
from recipes.services.bench.actuals import Reading, weigh_line
from recipes.services.bench.batches import cancel_batch
from tests.inventory.making import KG
from tests.scenarios.soap_balance import balance_of_walk
from tests.scenarios.soap_bench import SoapBench
from tests.scenarios.soap_makings import (
    Making,
    days,
    makings,
    outs,
    people,
    purities,
    slips,
    values,
    which,
)
from tests.scenarios.soap_shelf import BLENDS, make_soap_shelf
from tests.scenarios.soap_truth import reckon
from tests.studio.web.api.people import person

#: How many by database: of the slower one as many as show that it is no other.
WALKS = [
    pytest.param({"sqlite": 50, "postgres": 10}, 5, id="50"),
    pytest.param({"sqlite": 2_000, "postgres": 500}, 16, id="2000", marks=pytest.mark.long),
]
G = KG // 1000


class SoapWalk(SoapBench, RuleBasedStateMachine):
    """A studio that makes soap by right and by wrong steps; undone at the end of each walk."""

    def begun(self, furnished):
        """Where another walk stands that is over, in a transaction of its own."""
        self.recipe_of, self.paid = dict(furnished.recipe_of), furnished.paid
        self.block = transaction.atomic()
        self.block._from_testcase = True
        self.block.__enter__()
        return self

    def teardown(self):
        # A walk that fails or is ended by a signal tells that alone: what it left half done may be
        # beyond any query, and that refusal would stand in place of what happened.
        broken_off = isinstance(sys.exception(), Exception | KeyboardInterrupt)
        try:
            if not broken_off:
                truth = reckon(self.shelf.recipes, self.recipe_of)
                balance_of_walk(truth, paid=self.paid, chosen=self.chosen)
        finally:
            transaction.set_rollback(True)
            self.block.__exit__(None, None, None)

    @initialize(made=makings)
    def first(self, made):
        self.soap(made)

    @rule(made=makings)
    def make(self, made):
        self.soap(made)

    @rule(code=st.sampled_from(list(BLENDS)), kilos=st.integers(1, 4), slip=slips, out=outs)
    def mix(self, code, kilos, slip, out):
        self.blend(Making(code, kilos=kilos, slip=slip, out=out))

    @rule(
        code=st.sampled_from(["naoh", "naoh", "koh", "olive", "coconut", "scent"]),
        grams=st.integers(500, 9_000),
        cost=st.integers(0, 10**6),
        states=st.tuples(purities, values),
        comes=st.tuples(days, st.booleans()),
    )
    def a_lot_comes(self, code, grams, cost, states, comes):
        day, held = comes
        stated = self.stated(code, *states)
        new = NewLot(
            material=self.shelf.materials[code],
            amount=grams * G,
            cost=cost,
            received_on=self.day(day, self.on),
            holds=[NewHold(cause=Cause.ARRIVAL, reason="to be checked")] if held else (),
            # Soonest over, so that it is picked first.
            best_before=self.on + timedelta(days=900 - Lot.objects.count()),
        )
        came = self.tried(
            lambda: open_lots([new], verb=Verb.RECEIVE, origin=Origin(reference="walk"))
        )
        if came:
            self.paid += cost
            if stated:
                self.certify(came[0], stated)

    @rule(n=which, purity=purities, value=values)
    def a_certificate_comes_later(self, n, purity, value):
        named = {"naoh", "koh", "lye", "thin"} if purity else {"olive", "coconut", "twice"}
        lots = Lot.objects.filter(material__code__in=named).order_by("-pk")
        waiting = lots.filter(reserved__gt=0) if n % 3 else lots.none()
        lots = list((waiting or lots).select_related("material"))
        lot = lots[n % len(lots)]
        made = Lot.objects.filter(pk__in=made_of_these([lot.pk]) - {lot.pk})
        if purity and made.filter(purity__isnull=False).exists():
            return  # one of the two would be wrong, which the proof of the books says
        if stated := self.stated(lot.material.code, purity, value, lot):
            self.certify(lot, stated)

    @rule(n=which, part=which, slip=slips, own=st.none() | which)
    def weigh(self, n, part, slip, own):
        batch = self.batch(n, "reserved")
        if batch is None:
            return
        rows = self.rows(batch)
        row = rows[part % len(rows)]
        lots = ()
        if own is not None:
            there = list(Lot.objects.filter(material=row.material_id).order_by("pk"))
            lots = [ChosenLot(code=there[own % len(there)].code)] if there else ()
        reading = Reading(position=row.position, amount=int(row.planned * slip), lots=lots)
        by = self.chooser(own)
        if self.tried(lambda: weigh_line(batch.code, reading, by=by)):
            self.keep_choice(batch, lots, by)

    @rule(n=which, made=makings)
    def go_on(self, n, made):
        batch = self.batch(n, "reserved", "poured", "cut")
        if batch and batch.state == "reserved":
            if made.far == "reserved":
                self.tried(lambda: cancel_batch(batch.code))
            elif self.pour(batch, made):
                self.finish(batch, made)
        elif batch:
            self.finish(batch, made)

    @rule(
        n=which,
        deed=st.sampled_from(["hold", "release", "recall", "lift", "arrival"]),
        day=days,
    )
    def judge_by_hand(self, n, deed, day):
        lot = self.lot(n)
        if deed == "lift":
            found = Recall.objects.filter(lifted_at=None).order_by("pk").first()
            if found:
                self.tried(lambda: lift_recall(found.code, "sound"))
        elif deed == "recall":
            self.tried(lambda: recall_lot(lot.code, "looked at"))
        elif deed == "release":
            on = self.day(day, self.late(lot))
            self.tried(lambda: release_lot(lot.pk, reason="looked at", on=on))
        else:
            on = self.day(day, self.late(lot))
            cause = Cause.ARRIVAL if deed == "arrival" else Cause.BY_HAND
            self.tried(lambda: hold_lot(lot.pk, reason="looked at", cause=cause, on=on))

    @rule(
        n=which,
        outcome=st.sampled_from([*Outcome, Outcome.MEASURED, Outcome.MEASURED]),
        who=people,
        cause=st.sampled_from(["lye-heavy", "over-limit", None]),
        day=days,
    )
    def decide(self, n, outcome, who, cause, day):
        held = Lot.objects.filter(state="blocked").order_by("pk")
        lot = held[n % len(held)] if held else self.lot(n)
        measured, on = outcome is Outcome.MEASURED, self.day(day, self.cured_on)
        decision = Decision(
            outcome=outcome,
            reason="looked into",
            on=on,
            free_alkali=D("0.0004") if measured else None,
            measured_on=on if measured else None,
        )
        meant = None if cause is None else Cause(cause)
        self.tried(lambda: decide_lot(lot.pk, decision, cause=meant, by=self.people.get(who)))

    @rule(
        n=which,
        pieces=st.integers(1, 9),
        named=st.booleans(),
        day=st.sampled_from(["then", "then", "then", "then", "now", "cut", "cut", "ahead"]),
        back=st.sampled_from([None, None, "then", "now"]),
    )
    def sell(self, n, pieces, named, day, back):
        bars = list(Lot.objects.filter(material__kind="bar").order_by("pk"))
        if not bars:
            return
        lot = bars[n % len(bars)]
        line = ToShip(lot=lot.code, amount=pieces)
        if not named:
            line = ToShip(material=lot.material.code, amount=pieces)
        # Bars are there from their cut on, and free once their cure is over.
        on = self.on if day == "cut" else self.day(day, self.cured_on)
        shipping = Shipping(customer_name="Corner", shipped_on=on, lines=[line])
        sent = self.tried(lambda: ship(shipping))
        if back and sent:
            shipment = Shipment.objects.get(pk=sent.pk)
            returning = Returning(returned_on=self.day(back, on), reason="dented")
            self.tried(lambda: return_shipment(shipment.code, returning))

    @rule(
        n=which,
        part=st.integers(0, 4),
        deed=st.sampled_from(["count", "spoil", "all"]),
        day=days,
    )
    def lose_some(self, n, part, deed, day):
        lot = self.lot(n)
        on = self.day(day, self.late(lot))
        amount = lot.on_hand - lot.reserved if deed == "all" else lot.on_hand * part // 20
        if deed == "count":
            found = Counted(lot_id=lot.pk, found=lot.on_hand - amount, on=on)
            self.tried(lambda: count_lot(found, origin=Origin(reference="walk")))
        else:
            origin = Origin(reference="walk", note="spilt", on=on)
            self.tried(lambda: spoil_lot(lot.pk, amount, origin=origin))


@pytest.mark.parametrize(("walks", "steps"), WALKS)
def test_any_walk_keeps_mass_alkali_and_money_and_sells_nothing_lye_heavy(database, walks, steps):
    shelf = make_soap_shelf()
    loaded, accounts = shelf.loaded, {role: person(role) for role in ("owner", "maker")}
    furnished = SoapWalk(shelf, loaded, accounts)
    furnished.furnish()
    run_state_machine_as_test(
        lambda: SoapWalk(shelf, loaded, accounts).begun(furnished),
        settings=settings(
            max_examples=walks[database.name],
            stateful_step_count=steps,
            # Shorter walks take minutes to find; what happened is told step by step.
            phases=(Phase.generate,),
            suppress_health_check=list(HealthCheck),
        ),
    )


@pytest.mark.parametrize("cause", [KeyboardInterrupt, ValueError])
def test_a_walk_that_is_broken_off_tells_what_broke_it(transactional_db, cause):
    walk = SoapWalk(None, {}, {})

    def broken_off():
        walk.begun(walk)
        try:
            transaction.set_rollback(True)  # as whatever ends a query halfway does
            raise cause
        finally:
            walk.teardown()

    with pytest.raises(cause):
        broken_off()
    assert not transaction.get_connection().in_atomic_block
