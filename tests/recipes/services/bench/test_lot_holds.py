"""What holds the soap of a batch: its cure, and what makes it unsafe; each with its own way out."""

from datetime import timedelta
from decimal import Decimal

import pytest

from inventory.domain.catalog.unusual import UNUSUAL
from inventory.domain.stock.holds import Cause, Decision, Outcome
from inventory.errors import LotHeld, NotForYou
from inventory.models.stock.holds import Hold
from inventory.models.stock.lots import Lot
from inventory.services.counting.counts import spoil_lot
from inventory.services.stock.certificates import certify_lot
from inventory.services.stock.hold_verbs import decide_lot, hold_lot, release_lot
from inventory.services.stock.ledger import Origin
from recipes.errors import BatchConflict
from recipes.models.bench.batches import Batch, BatchLine
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.finishing import Cured, Cut, cure_batch, cut_batch
from studio.foundation.errors import InvalidInput, StateConflict
from tests.inventory.making import TODAY
from tests.recipes.making import make_bench, planned, stock
from tests.studio.web.api.people import person

G = 10**9
END = TODAY + timedelta(days=28)


def poured(naoh=1):
    """A batch that is poured; `naoh` times the planned NaOH went in."""
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    line = BatchLine.objects.get(batch=batch, part="naoh")
    pour_batch(batch.code, Poured(on=TODAY, actual={line.position: int(line.planned * naoh)}))
    return Batch.objects.get(pk=batch.pk)


def cut(naoh=1):
    """The same, cut, with ends."""
    return cut_up(poured(naoh))


def cut_up(batch):
    cut_batch(batch.code, Cut(on=TODAY, bars_good=7, ends_weight=50 * G, keep_ends=True))
    return Batch.objects.get(pk=batch.pk)


def lots_of(batch):
    return [batch.poured_lot, batch.bar_lot, batch.cut_record.ends_lot]


def state(lot):
    return Lot.objects.get(pk=lot.pk).state


def causes(lot):
    return sorted(Hold.objects.filter(lot=lot, lifted_at=None).values_list("cause", flat=True))


def decided(outcome, **values):
    return Decision(outcome=outcome, reason="looked into", on=END, **values)


def test_soap_is_held_by_its_cure_from_the_pour_until_it_is_over(database):
    batch = poured()
    assert (state(batch.poured_lot), causes(batch.poured_lot)) == ("quarantine", ["cure"])
    batch = cut_up(batch)
    assert [state(lot) for lot in lots_of(batch)] == ["quarantine", "quarantine", "released"]
    cure_batch(batch.code, Cured(on=END))
    assert [state(lot) for lot in lots_of(batch)] == ["released"] * 3
    lifted = Hold.objects.get(lot=batch.bar_lot)
    assert (lifted.lifted_on, lifted.lifted_reason) == (END, "the cure is over")


def test_a_cut_without_a_good_bar_leaves_nothing_that_cures(database):
    batch = poured()
    cut_batch(batch.code, Cut(on=TODAY, bars_good=0, bars_rejected=8))
    assert not Hold.objects.filter(lifted_at=None).exists()


def test_an_early_release_keeps_its_reason_on_the_hold(database):
    batch = cut()
    cure_batch(batch.code, Cured(on=TODAY, early_reason="hot process"))
    assert Hold.objects.get(lot=batch.bar_lot).lifted_reason == "hot process"


def test_curing_bars_are_released_by_the_cure_alone(database):
    bars = cut().bar_lot
    with pytest.raises(LotHeld, match="the cure of batch B-00001 is finished"):
        release_lot(bars.pk, reason="looked at")
    hold_lot(bars.pk, reason="smells")
    assert release_lot(bars.pk, reason="aired").state == "quarantine"
    assert causes(bars) == ["cure"]


def test_what_holds_bars_beside_their_cure_is_lifted_first(database):
    batch = cut()
    hold_lot(batch.bar_lot.pk, reason="smells")
    with pytest.raises(BatchConflict, match="smells"):
        cure_batch(batch.code, Cured(on=END))
    assert causes(batch.bar_lot) == ["by-hand", "cure"]
    release_lot(batch.bar_lot.pk, reason="aired")
    cure_batch(batch.code, Cured(on=END))
    assert state(batch.bar_lot) == "released"


def test_ends_may_be_used_while_the_bars_cure(database):
    ends = cut().cut_record.ends_lot
    hold_lot(ends.pk, reason="by hand")
    assert release_lot(ends.pk, reason="looked at").state == "released"


def test_lye_heavy_soap_is_freed_by_no_release_and_no_cure(database):
    batch = cut(Decimal("1.2"))
    for lot in lots_of(batch):
        assert state(lot) == "blocked" and "lye-heavy" in causes(lot)
        hold_lot(lot.pk, reason="by hand, too")
        assert "Lye-heavy" in Lot.objects.get(pk=lot.pk).state_reason
        assert release_lot(lot.pk, reason="looked at").state == "blocked"
        with pytest.raises(LotHeld, match="an owner decides"):
            release_lot(lot.pk, reason="looked at")
    with pytest.raises(BatchConflict, match="Lye-heavy"):
        cure_batch(batch.code, Cured(on=END))
    assert {state(lot) for lot in lots_of(batch)} == {"blocked"}


def test_what_holds_poured_soap_tells_what_it_is_and_of_which_batch(database):
    """Its fat and alkali are in one pot: nobody is told to weigh them otherwise."""
    batch = cut(Decimal("1.2"))
    for lot in lots_of(batch):  # those of bars and ends were inherited
        reason = Hold.objects.get(lot=lot, cause=Cause.LYE.value).reason
        assert "the superfat is -" in reason and "as weighed" in reason
        assert "(Batch B-00001)" in reason
        assert "would be" not in reason and "Use less" not in reason


def test_an_owner_alone_decides(database):
    batch = cut(Decimal("1.2"))
    for by in (None, person("maker")):
        with pytest.raises(NotForYou):
            decide_lot(batch.bar_lot.pk, decided(Outcome.SAFE), by=by)
    assert state(batch.bar_lot) == "blocked"


def test_a_corrected_certificate_is_the_way_out_of_what_was_never_lye_heavy(database):
    """Nobody mixes by a figure: the decision keeps the figures of both days."""
    batch, owner = cut(Decimal("1.2")), person("owner")
    with pytest.raises(LotHeld, match=r"still not safe.*Lye-heavy"):
        decide_lot(batch.bar_lot.pk, decided(Outcome.SAFE), by=owner)
    certify_lot(
        Lot.objects.get(material__code="naoh").pk, {"purity": Decimal("0.75")}, confirmed=UNUSUAL
    )
    assert state(batch.bar_lot) == "blocked"
    decide_lot(batch.bar_lot.pk, decided(Outcome.SAFE), by=owner)
    assert [state(lot) for lot in lots_of(batch)] == ["quarantine", "quarantine", "released"]
    held = Hold.objects.get(lot=batch.bar_lot, cause=Cause.LYE.value)
    assert (held.outcome, held.lifted_by, held.by) == ("judged-safe", owner, None)
    assert "as poured" in held.lifted_reason and "superfat" in held.lifted_reason
    cure_batch(batch.code, Cured(on=END))
    assert state(batch.bar_lot) == "released"


def test_a_measurement_frees_what_was_measured_and_made_of_it(database):
    batch, owner = cut(Decimal("1.2")), person("owner")
    measured = decided(
        Outcome.MEASURED, free_alkali=Decimal("0.0004"), measured_on=TODAY + timedelta(days=20)
    )
    decide_lot(batch.bar_lot.pk, measured, by=owner)
    assert causes(batch.bar_lot) == ["cure"]
    assert "lye-heavy" in causes(batch.cut_record.ends_lot)
    held = Hold.objects.get(lot=batch.bar_lot, cause=Cause.LYE.value)
    assert (held.free_alkali, held.measured_on) == (Decimal("0.0004"), measured.measured_on)


@pytest.mark.parametrize(
    ("outcome", "values", "field"),
    [
        (Outcome.MEASURED, {}, "free_alkali"),
        (Outcome.MEASURED, {"free_alkali": Decimal("0.0004")}, "measured_on"),
        (Outcome.MEASURED, {"free_alkali": Decimal(2), "measured_on": TODAY}, "free_alkali"),
        (Outcome.MEASURED, {"free_alkali": Decimal("0.05"), "measured_on": TODAY}, "free_alkali"),
        (
            Outcome.MEASURED,
            {"free_alkali": Decimal(0), "measured_on": TODAY - timedelta(days=1)},
            "measured_on",
        ),
        (Outcome.SAFE, {"free_alkali": Decimal(0)}, "free_alkali"),
    ],
)
def test_decisions_that_say_too_little_are_refused(database, outcome, values, field):
    batch, owner = cut(Decimal("1.2")), person("owner")
    with pytest.raises(InvalidInput) as refused:
        decide_lot(batch.bar_lot.pk, decided(outcome, **values), by=owner)
    assert field in {fault.field for fault in refused.value.faults}
    assert "lye-heavy" in causes(batch.bar_lot)


@pytest.mark.parametrize("outcome", [Outcome.DISPOSED, Outcome.REBATCHED])
def test_what_is_gone_is_gone_before_it_is_said_so(database, outcome):
    batch, owner = cut(Decimal("1.2")), person("owner")
    ends = batch.cut_record.ends_lot
    with pytest.raises(StateConflict, match="not empty"):
        decide_lot(ends.pk, decided(outcome), by=owner)
    spoil_lot(ends.pk, ends.on_hand, origin=Origin(reference="spoil:x", note="lye"))
    decide_lot(ends.pk, decided(outcome), by=owner)
    assert causes(ends) == [] and "lye-heavy" in causes(batch.bar_lot)


def test_there_is_nothing_to_decide_over_sound_soap(database):
    with pytest.raises(StateConflict, match="not held as unsafe"):
        decide_lot(cut().bar_lot.pk, decided(Outcome.SAFE), by=person("owner"))


def test_too_much_fragrance_is_decided_over_by_its_own_figures(database):
    """A lot's certificate for IFRA category 9 goes before what was known when it was poured."""
    bench, owner = make_bench(), person("owner")
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    scent = BatchLine.objects.get(batch=batch, material__code="scent")
    most = {scent.position: scent.planned * 5}
    pour_batch(batch.code, Poured(on=TODAY, actual=most))
    soap = Batch.objects.get(pk=batch.pk).poured_lot
    assert causes(soap) == ["cure", "over-limit"]
    with pytest.raises(LotHeld, match="still not safe"):
        decide_lot(soap.pk, decided(Outcome.SAFE), by=owner)
    certify_lot(Lot.objects.get(material__code="scent").pk, {"ifra_category9_max": Decimal("0.5")})
    decide_lot(soap.pk, decided(Outcome.SAFE), by=owner)
    assert causes(soap) == ["cure"]
    lifted = Hold.objects.get(lot=soap, cause=Cause.LIMIT.value).lifted_reason
    assert "of at most 50" in lifted


def test_two_faults_are_two_holds_and_two_decisions(database):
    bench, owner = make_bench(), person("owner")
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    lines = {each.material.code: each for each in BatchLine.objects.filter(batch=batch)}
    actual = {
        lines["scent"].position: lines["scent"].planned * 5,
        lines["naoh"].position: int(lines["naoh"].planned * Decimal("1.2")),
    }
    pour_batch(batch.code, Poured(on=TODAY, actual=actual))
    soap = Batch.objects.get(pk=batch.pk).poured_lot
    assert causes(soap) == ["cure", "lye-heavy", "over-limit"]
    measured = decided(Outcome.MEASURED, free_alkali=Decimal(0), measured_on=TODAY)
    with pytest.raises(InvalidInput, match="one after the other"):
        decide_lot(soap.pk, measured, by=owner)
    with pytest.raises(InvalidInput):
        decide_lot(soap.pk, measured, cause=Cause.LIMIT, by=owner)
    decide_lot(soap.pk, measured, cause=Cause.LYE, by=owner)
    assert causes(soap) == ["cure", "over-limit"]
