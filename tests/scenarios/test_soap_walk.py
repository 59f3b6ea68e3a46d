"""Random walks from the delivery to the sale, over all that may go wrong with lye on the way.

Each ends with a balance of mass, alkali and money in fractions (`soap_truth`). The long run walks
more often.
"""

from datetime import timedelta
from decimal import Decimal as D
from fractions import Fraction as F

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

from inventory.domain.catalog.unusual import UNUSUAL
from inventory.domain.stock.holds import Cause, Decision, NewHold, Outcome
from inventory.domain.stock.ledger import Verb
from inventory.models.shipping.recalls import Recall
from inventory.models.shipping.shipments import Shipment
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.queries.shipping.trace import made_of_these
from inventory.queries.stock.candidates import ChosenLot
from inventory.queries.stock.contents import contents_of
from inventory.services.counting.counts import Counted, count_lot, spoil_lot
from inventory.services.shipping.recall import lift_recall, recall_lot
from inventory.services.shipping.returns import Returning, return_shipment
from inventory.services.shipping.shipments import Shipping, ToShip, ship
from inventory.services.stock.certificates import certify_lot
from inventory.services.stock.hold_verbs import decide_lot, hold_lot, release_lot
from inventory.services.stock.ledger import Origin
from inventory.services.stock.production import NewLot, open_lots
from recipes.domain.formulas.scaled import BatterTarget, FatTarget
from recipes.models.bench.batches import Batch
from recipes.queries.scaling.plans import Wish, make_plan
from recipes.services.bench.actuals import Reading, weigh_line
from recipes.services.bench.batches import cancel_batch, reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.finishing import Cured, Cut, cure_batch, cut_batch
from recipes.services.scaling.planning import plan_batch
from studio.foundation.errors import Refusal
from tests.inventory.making import KG, TODAY
from tests.scenarios.soap_balance import balance_of_walk
from tests.scenarios.soap_makings import (
    Making,
    ends_at,
    makings,
    outs,
    people,
    purities,
    slips,
    values,
    which,
)
from tests.scenarios.soap_shelf import BLENDS, CURE_DAYS, fill_soap_shelf, make_soap_shelf
from tests.scenarios.soap_truth import CLOSE, reckon
from tests.studio.web.api.people import person

#: How many by database: of the slower one as many as show that it is no other.
WALKS = [
    pytest.param({"sqlite": 50, "postgres": 10}, 5, id="50"),
    pytest.param({"sqlite": 2_000, "postgres": 500}, 16, id="2000", marks=pytest.mark.long),
]
G = KG // 1000


class SoapWalk(RuleBasedStateMachine):
    """A studio that makes soap by right and by wrong steps; undone at the end of each walk."""

    def __init__(self, shelf, loaded, accounts):
        super().__init__()
        self.shelf, self.loaded, self.people = shelf, loaded, accounts
        self.on = TODAY
        self.recipe_of, self.chosen = {}, set()
        self.paid = 0

    def begun(self, furnished):
        """Where another walk stands that is over, in a transaction of its own."""
        self.recipe_of, self.paid = dict(furnished.recipe_of), furnished.paid
        self.block = transaction.atomic()
        self.block._from_testcase = True
        self.block.__enter__()
        return self

    def teardown(self):
        try:
            truth = reckon(self.shelf.recipes, self.recipe_of)
            balance_of_walk(truth, paid=self.paid, chosen=self.chosen)
        finally:
            transaction.set_rollback(True)
            self.block.__exit__(None, None, None)

    def furnish(self):
        """Two lots of each raw material, all blends, sound soap with ends, and unsafe soap."""
        self.paid += fill_soap_shelf(self.shelf)
        for code in BLENDS:
            self.mix(code, kilos=8)
        self.make(Making("plain", kilos=3))
        self.make(Making("plain", slip=D("1.09"), far="cut"))
        self.make(Making("dual", slip=D("1.09"), far="cut"))
        for batch in Batch.objects.exclude(state="cured"):
            assert batch.poured_lot.state == "blocked"

    @rule(
        code=st.sampled_from(["naoh", "naoh", "koh", "olive", "coconut", "scent"]),
        grams=st.integers(500, 9_000),
        cost=st.integers(0, 10**6),
        states=st.tuples(purities, values),
        held=st.booleans(),
    )
    def a_lot_comes(self, code, grams, cost, states, held):
        stated = self.stated(code, *states)
        new = NewLot(
            material=self.shelf.materials[code],
            amount=grams * G,
            cost=cost,
            received_on=self.on,
            holds=[NewHold(cause=Cause.ARRIVAL, reason="to be checked")] if held else (),
            # Soonest over, so that it is picked first.
            best_before=self.on + timedelta(days=900 - Lot.objects.count()),
        )
        (lot,) = open_lots([new], verb=Verb.RECEIVE, origin=Origin(reference="walk"))
        self.paid += cost
        if stated:
            self.certify(lot, stated)

    @rule(n=which, purity=purities, value=values)
    def a_certificate_comes_later(self, n, purity, value):
        named = {"naoh", "koh", "lye", "thin"} if purity else {"olive", "coconut", "twice"}
        lots = Lot.objects.filter(material__code__in=named).order_by("-pk")
        lot = lots.select_related("material")[n % len(lots)]
        made = Lot.objects.filter(pk__in=made_of_these([lot.pk]) - {lot.pk})
        if purity and made.filter(purity__isnull=False).exists():
            return  # one of the two would be wrong, which the proof of the books says
        if stated := self.stated(lot.material.code, purity, value, lot):
            self.certify(lot, stated)

    @rule(code=st.sampled_from(list(BLENDS)), kilos=st.integers(1, 4), slip=slips, out=outs)
    def mix(self, code, kilos, slip=D(1), out=None):
        batch = self.planned(f"make-{code}", BatterTarget(kilos * KG))
        if batch and self.tried(lambda: reserve_batch(batch.code)):
            self.pour(batch, slip=slip, part=0, out=out)

    @initialize(made=makings)
    def first(self, made):
        self.make(made)

    @rule(made=makings)
    def make(self, made):
        batch = self.planned(made.code, FatTarget(made.kilos * KG))
        if batch is None or not self.reserve(batch, made.own):
            return
        if made.far == "reserved":
            return
        if self.pour(batch, slip=made.slip, part=made.part, out=made.out):
            self.finish(batch, made.far)

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

    @rule(n=which, slip=slips, part=which, out=outs, far=ends_at)
    def go_on(self, n, slip, part, out, far):
        batch = self.batch(n, "reserved", "poured", "cut")
        if batch and batch.state == "reserved":
            if far == "reserved":
                self.tried(lambda: cancel_batch(batch.code))
            elif self.pour(batch, slip=slip, part=part, out=out):
                self.finish(batch, far)
        elif batch:
            self.finish(batch, far)

    @rule(n=which, deed=st.sampled_from(["hold", "release", "recall", "lift", "arrival"]))
    def judge_by_hand(self, n, deed):
        lot = self.lot(n)
        if deed == "lift":
            found = Recall.objects.filter(lifted_at=None).order_by("pk").first()
            if found:
                self.tried(lambda: lift_recall(found.code, "sound"))
            return
        cause = Cause.ARRIVAL if deed == "arrival" else Cause.BY_HAND
        deeds = {"release": release_lot, "recall": lambda pk, reason: recall_lot(lot.code, reason)}
        act = deeds.get(deed, lambda pk, reason: hold_lot(pk, reason=reason, cause=cause))
        self.tried(lambda: act(lot.pk, reason="looked at"))

    @rule(
        n=which,
        outcome=st.sampled_from(Outcome),
        who=people,
        cause=st.sampled_from(["lye-heavy", "over-limit", None]),
    )
    def decide(self, n, outcome, who, cause):
        held = Lot.objects.filter(state="blocked").order_by("pk")
        lot = held[n % len(held)] if held else self.lot(n)
        measured = outcome is Outcome.MEASURED
        decision = Decision(
            outcome=outcome,
            reason="looked into",
            on=self.cured_on,
            free_alkali=D("0.0004") if measured else None,
            measured_on=self.cured_on if measured else None,
        )
        meant = None if cause is None else Cause(cause)
        self.tried(lambda: decide_lot(lot.pk, decision, cause=meant, by=self.people.get(who)))

    @rule(n=which, pieces=st.integers(1, 9), named=st.booleans(), back=st.booleans())
    def sell(self, n, pieces, named, back):
        bars = list(Lot.objects.filter(material__kind="bar").order_by("pk"))
        if not bars:
            return
        lot = bars[n % len(bars)]
        line = ToShip(lot=lot.code, amount=pieces)
        if not named:
            line = ToShip(material=lot.material.code, amount=pieces)
        day = self.cured_on
        sent = self.tried(
            lambda: ship(Shipping(customer_name="Corner", shipped_on=day, lines=[line]))
        )
        if back and sent:
            shipment = Shipment.objects.get(pk=sent.pk)
            returning = Returning(returned_on=day, reason="dented")
            self.tried(lambda: return_shipment(shipment.code, returning))

    @rule(n=which, part=st.integers(0, 4), deed=st.sampled_from(["count", "spoil", "all"]))
    def lose_some(self, n, part, deed):
        lot = self.lot(n)
        amount = lot.on_hand - lot.reserved if deed == "all" else lot.on_hand * part // 20
        if deed == "count":
            found = Counted(lot_id=lot.pk, found=lot.on_hand - amount, on=self.late(lot))
            self.tried(lambda: count_lot(found, origin=Origin(reference="walk")))
        else:
            origin = Origin(reference="walk", note="spilt", on=self.late(lot))
            self.tried(lambda: spoil_lot(lot.pk, amount, origin=origin))

    def planned(self, code, target):
        found = self.tried(lambda: make_plan(self.loaded[code], Wish(target=target, bars=8)))
        if found is None:
            return None
        batch = plan_batch(found, planned_on=self.on)
        self.recipe_of[batch.holder] = code
        return batch

    def reserve(self, batch, own):
        """Whatever is there, or with a lot of one material that is named, held or not."""
        chosen = {}
        if own is not None:
            rows = self.rows(batch)
            row = rows[own % len(rows)]
            lots = list(Lot.objects.filter(material=row.material_id).order_by("pk"))
            if lots:
                lot = lots[own // len(rows) % len(lots)]
                chosen = {row.material_id: [ChosenLot(code=lot.code)]}
        by = self.chooser(own)
        held = self.tried(lambda: reserve_batch(batch.code, chosen=chosen, on=self.on, by=by))
        if held:
            self.keep_choice(batch, [lot for some in chosen.values() for lot in some], by)
        return held

    def chooser(self, own):
        """Who names a lot: an owner may choose what is unsafe for a rebatch, others may not."""
        return self.people["maker" if own is not None and own % 4 == 3 else "owner"]

    def keep_choice(self, batch, lots, by):
        if by == self.people["owner"]:
            self.chosen |= {(batch.holder, lot.code) for lot in lots}

    def pour(self, batch, *, slip, part, out):
        """With a slip at one line; `out` of what was to go in is weighed as poured."""
        rows = self.rows(batch)
        row = rows[part % len(rows)]
        actual = {} if slip == 1 else {row.position: int(row.planned * slip)}
        planned = sum(row.planned for row in rows if not row.material.counted)
        poured = Poured(
            on=self.on, actual=actual, output_ng=None if out is None else int(planned * out)
        )
        done = self.tried(lambda: pour_batch(batch.code, poured))
        if done and done.safety:
            soap = reckon(self.shelf.recipes, self.recipe_of).soaps[batch.holder]
            assert abs(F(done.safety.superfat) - soap.superfat) < CLOSE
        return done

    def finish(self, batch, far):
        batch = Batch.objects.get(pk=batch.pk)
        if batch.state == "poured" and far != "poured":
            poured = batch.poured_lot.on_hand
            cut = Cut(
                on=self.on,
                bars_good=8,
                bars_rejected=1,
                good_weight=poured * 8 // 10,
                ends_weight=poured // 10,
                keep_ends=True,
                reason="walked",
            )
            self.tried(lambda: cut_batch(batch.code, cut))
        if far in ("early", "cured"):
            on, why = (self.on, "walked") if far == "early" else (self.cured_on, "")
            cured = Cured(on=on, early_reason=why)
            self.tried(lambda: cure_batch(batch.code, cured))

    def tried(self, act):
        """What came of it, or None when it was refused; a refusal has written nothing."""
        before = StockEntry.objects.count()
        try:
            return act() or True
        except Refusal:
            # Nothing around the act rolls back: each takes back what it wrote itself.
            assert StockEntry.objects.count() == before
            return None

    def certify(self, lot, stated):
        """What is unusual is kept once it is confirmed, and only then."""
        if self.tried(lambda: certify_lot(lot.pk, stated)) is None:
            certify_lot(lot.pk, stated, confirmed=list(UNUSUAL))

    def stated(self, code, purity, value, lot=None):
        """What a certificate says; stored lye is titrated."""
        if purity is not None and code in ("naoh", "koh"):
            return {"purity": purity}
        if purity is not None and code in ("lye", "thin"):
            found = contents_of([lot.pk])[lot.pk].naoh.usual
            return {"purity": round(found * purity, 6)} if found > D("0.02") else {}
        if value is not None and code in ("olive", "coconut", "twice"):
            return {"sv_mg_koh_g": value}
        return {}

    def rows(self, batch):
        """What is weighed before the pour, the alkalis first."""
        rows = batch.lines.exclude(stage="pack").select_related("material").order_by("position")
        return sorted(rows, key=lambda row: row.part in ("line", "water"))

    @property
    def cured_on(self):
        return self.on + timedelta(days=CURE_DAYS)

    def late(self, lot):
        return max(self.on, lot.received_on)

    def lot(self, n):
        lots = Lot.objects.select_related("material").order_by("-pk")
        return lots[n % lots.count()]

    def batch(self, n, *states):
        found = list(Batch.objects.filter(state__in=states).order_by("pk"))
        return found[n % len(found)] if found else None


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
