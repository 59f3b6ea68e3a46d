"""What must hold at the end of a walk: nothing made of nothing, and nothing unsafe to be had."""

from collections import defaultdict
from fractions import Fraction as F

from django.db.models import Sum
from django.utils import timezone

from inventory.models.stock.holds import Hold
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from inventory.queries.stock.contents import contents_of
from inventory.services.stock.proof import prove_books
from recipes.models.cure.finishing import CutRecord
from tests.scenarios.soap_truth import CLOSE, KOH, NAOH

#: The most fragrance in finished soap that the walk's recipes are allowed, and the scale.
MOST_SCENT, STEP = F(3, 100), 10**9
#: More than anybody reads off the scale from the pour to the cut.
READINGS = 15
UNSAFE = {"lye-heavy", "over-limit"}
#: What an owner says of a lot of which nothing is left.
GONE = {"disposed", "rebatched"}
#: What keeps a lot from leaving, and what a rebatch that chooses it may use all the same.
REBATCHED = UNSAFE | {"cure"}


def balance_of_walk(truth, *, paid, chosen):
    """`paid` is all that came in cost, `chosen` are the (document, lot) that an owner named."""
    proof = prove_books()
    assert proof.holds, proof.differences
    lots = {lot.pk: lot for lot in Lot.objects.select_related("material")}
    holds = defaultdict(list)
    for hold in Hold.objects.select_related("lifted_by__membership").order_by("pk"):
        holds[hold.lot_id].append(hold)
    entries = list(StockEntry.objects.order_by("pk"))
    money(paid)
    mass(entries, lots)
    mass_at_the_cut(entries)
    facts_have_days(entries, lots, holds)
    alkali(truth, lots)
    nothing_unsafe_is_free(truth, lots, holds, entries)
    nothing_held_was_used(lots, holds, entries, chosen)
    what_is_made_of_held_lots_is_held(lots, holds, entries)
    holds_reach_what_was_made_before(lots, holds, entries)


def money(paid):
    """Paid = on the shelf + gone (sold and not come back, spoiled, missing at a count)."""
    gone = StockEntry.objects.filter(verb__in=("ship", "return", "spoil", "count"))
    on_shelf = Lot.objects.aggregate(cost=Sum("cost"))["cost"]
    assert paid == on_shelf - (gone.aggregate(cost=Sum("cost"))["cost"] or 0)


def mass(entries, lots):
    """Out of a document comes no more than went in, but for what the scale is off at a weighing."""
    went_in, came_out, readings = defaultdict(int), defaultdict(int), defaultdict(int)
    for entry in entries:
        lot = lots[entry.lot_id]
        if lot.material.counted or not entry.reference.startswith("batch:"):
            continue
        step = (entry.reference, entry.note)
        if entry.verb == "consume":
            went_in[step] -= entry.on_hand
            readings[step] += 1
        elif entry.verb == "produce":
            came_out[step] += entry.on_hand
    for step, out in came_out.items():
        assert out <= went_in[step] + (readings[step] + 2) * STEP, step


def mass_at_the_cut(entries):
    """Bars and ends weigh no more than what was poured, but for what the scale is off."""
    used = (entry for entry in entries if entry.verb == "consume" and entry.note == "cut")
    poured = {entry.reference: -entry.on_hand for entry in used}
    for record in CutRecord.objects.select_related("batch"):
        weighed = (record.good_weight, record.rejected_weight, record.ends_weight)
        went_in = poured[record.batch.holder]
        assert sum(filter(None, weighed)) <= went_in + READINGS * STEP, record.batch.code


def facts_have_days(entries, lots, holds):
    """Nothing is to come, is before its lot was there, left before that was free, or was not there
    on the day on which it left. What a count finds beyond the books was there all along."""
    today, moved = timezone.localdate(), defaultdict(lambda: defaultdict(int))
    for entry in entries:
        lot = lots[entry.lot_id]
        assert lot.received_on <= entry.on <= today, (lot.code, entry.verb, entry.on)
        if entry.verb == "ship":
            ended = [each for each in holds[lot.pk] if each.lifted_at and each.lifted_at < entry.at]
            assert all(each.lifted_on <= entry.on for each in ended), (lot.code, entry.on)
        found = entry.verb == "count" and entry.on_hand > 0
        first = found or entry.verb in ("receive", "produce")
        moved[lot.pk][lot.received_on if first else entry.on] += entry.on_hand
    for pk, by_day in moved.items():
        stood = 0
        for day in sorted(by_day):
            stood += by_day[day]
            assert stood >= 0, (lots[pk].code, day)


def alkali(truth, lots):
    """The alkali that the product finds in each lot is what its parts brought, as reckoned here."""
    found = contents_of(lots)
    for pk, lot in lots.items():
        if lot.material.kind in ("bar", "packaging"):
            continue
        inside = truth.inside[pk]
        told = F(found[pk].naoh.usual) / NAOH + F(found[pk].koh.usual) / KOH
        # Soap's excess is a difference of two large numbers: close beside the alkali of a lye.
        assert abs(told - inside.alkali) <= inside.alkali * CLOSE + F(1, 10**7), lot.code
        assert abs(lot.steam - truth.steam.get(pk, 0)) <= STEP, lot.code


def nothing_unsafe_is_free(truth, lots, holds, entries):
    """What is lye-heavy, or has too much scent, is held for that, or was until an owner decided;
    and what is held is not free."""
    for pk, lot in lots.items():
        is_open = any(each.lifted_at is None for each in holds[pk])
        assert (lot.state == "released") != is_open, lot.code
        last = {(each.cause, each.reference): each.outcome for each in holds[pk]}
        assert not lot.on_hand or not GONE.intersection(last.values()), lot.code
    made = {entry.lot_id: entry.reference for entry in entries if entry.verb == "produce"}
    for pk, document in made.items():
        soap = truth.soaps.get(document)
        if soap is None:
            continue
        causes = []
        if soap.superfat is None or soap.superfat < -CLOSE:
            causes.append("lye-heavy")
        if soap.scent > MOST_SCENT * (1 + CLOSE):
            causes.append("over-limit")
        for cause in causes:
            for_it = [hold for hold in holds[pk] if hold.cause == cause]
            assert for_it, f"{lots[pk].code} is not held: {cause}, {soap}"
            # What was judged safe by a value that is gone again is held again.
            assert any(hold.outcome != "judged-safe" for hold in for_it), lots[pk].code
            ended = [hold for hold in for_it if hold.lifted_at]
            assert all(hold.outcome for hold in ended)
            assert all(hold.lifted_by.membership.role == "owner" for hold in ended)


def nothing_held_was_used(lots, holds, entries, chosen):
    """By the moments of entries and holds: what left, was promised or went into something."""
    for entry in entries:
        if entry.verb not in ("ship", "reserve", "consume") or entry.note == "cut":
            continue
        code = lots[entry.lot_id].code
        open_then = {hold.cause for hold in open_at(entry.at, holds[entry.lot_id])}
        if open_then:
            assert entry.verb != "ship", code
            assert open_then <= REBATCHED and open_then & UNSAFE, (code, open_then)
            assert (entry.reference, code) in chosen, code


def what_is_made_of_held_lots_is_held(lots, holds, entries):
    """For the same documents, save those of waiting: what was made since has its own."""
    made_of = made_of_by_step(entries)
    for entry in entries:
        if entry.verb != "produce":
            continue
        mine = {(hold.cause, hold.reference) for hold in holds[entry.lot_id]}
        for parent in made_of[entry.reference, entry.note]:
            for hold in open_at(entry.at, holds[parent]):
                if hold.cause not in ("cure", "arrival"):
                    assert (hold.cause, hold.reference) in mine, lots[entry.lot_id].code


def holds_reach_what_was_made_before(lots, holds, entries):
    """A recall that stands holds all that was made of its lot at any depth; what is unsafe was held
    there for the same soap, though an owner may have decided over a part of it."""
    made_of = made_of_by_step(entries)
    above = defaultdict(set)
    # A lot is made of lots that were there before it, so those above them are known.
    for entry in entries:
        if entry.verb == "produce":
            parents = made_of[entry.reference, entry.note]
            if lots[entry.lot_id].material.counted:
                parents = parents | made_of[entry.reference, "packed"]
            for parent in parents:
                above[entry.lot_id] |= {parent, *above[parent]}
    for pk, ancestors in above.items():
        mine = {(hold.cause, hold.reference): hold for hold in holds[pk]}
        for hold in (hold for each in ancestors for hold in holds[each]):
            if hold.lifted_at is None and hold.cause in UNSAFE | {"recall"}:
                reached = mine.get((hold.cause, hold.reference))
                assert reached, (lots[pk].code, hold.cause, hold.reference)
                assert hold.cause != "recall" or reached.lifted_at is None, lots[pk].code


def made_of_by_step(entries):
    """By document and step, the lots that it consumed."""
    made_of = defaultdict(set)
    for entry in entries:
        if entry.verb == "consume" and entry.reference.startswith("batch:"):
            made_of[entry.reference, entry.note].add(entry.lot_id)
    return made_of


def open_at(moment, holds):
    return [
        hold
        for hold in holds
        if hold.at < moment and (hold.lifted_at is None or hold.lifted_at > moment)
    ]
