"""The cut by weight and cost: bars, kept ends and loss bear all that the poured soap cost."""

from datetime import timedelta
from decimal import Decimal
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import IntegrityError, connection, transaction

from costing.domain.bar_cost.bar_cost import CostKind
from costing.queries.bar_cost.batches import cost_of_batch
from inventory.domain.stock.lots import LotState
from inventory.models.catalog.materials import Material
from inventory.models.stock.ledger import ENTRIES
from inventory.models.stock.lots import Lot
from inventory.services.stock.hold_verbs import hold_lot
from inventory.services.stock.proof import prove_books
from recipes.domain.formulas.formula import Basis, Stage
from recipes.domain.formulas.scaled import FatTarget
from recipes.models.bench.batches import Batch
from recipes.models.cure.finishing import CutRecord
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import Wish, make_plan
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.finishing import Cured, Cut, cure_batch, cut_batch
from recipes.services.formulas.formulas import LineSpec, VersionSpec
from recipes.services.scaling.planning import plan_batch
from studio.foundation.errors import InvalidInput
from tests.costing.making import make_rates
from tests.inventory.making import TODAY
from tests.recipes.making import make_bench, next_version, planned, stock

G = 10**9
LATER = TODAY + timedelta(days=28)


def pour(**values):
    """A poured batch of eight bars; its lot and what it cost."""
    bench = make_bench()
    stock(bench, cost=77_777)
    batch = planned(bench)
    reserve_batch(batch.code)
    lot = pour_batch(batch.code, Poured(on=TODAY, **values)).lot
    return batch, lot, lot.cost


def cut(batch, good=8, **values):
    return cut_batch(batch.code, Cut(on=TODAY, bars_good=good, **values))


def costs(batch):
    record = CutRecord.objects.get(batch=batch)
    return record.bars_cost, record.ends_cost, record.loss


def lots(batch):
    return {lot.code: lot for lot in Lot.objects.filter(code__startswith=batch.code)}


@pytest.mark.parametrize("share", [None, Decimal("0.04"), Decimal("0.333333"), Decimal(0)])
def test_kept_ends_are_a_lot_with_their_share_of_the_cost(database, share):
    batch, poured, cost = pour(output_ng=1_000 * G)
    cut(batch, ends_weight=70 * G, keep_ends=True, ends_cost_share=share, bars_rejected=1)
    made = lots(batch)
    ends, bars = made[f"{batch.code}-ends"], made[batch.code]
    assert (ends.material.code, ends.material.kind, ends.material.counted) == (
        "plain-ends",
        "intermediate",
        False,
    )
    assert (ends.on_hand, ends.state) == (70 * G, LotState.RELEASED.value)
    assert costs(batch) == (bars.cost, ends.cost, 0) and bars.cost + ends.cost == cost
    part = Decimal("0.07") if share is None else share  # 70 g of 1000 g
    assert abs(ends.cost - cost * part) <= 1
    poured.refresh_from_db()
    assert (poured.on_hand, poured.cost) == (0, 0)
    assert prove_books().differences == ()


def test_ends_go_into_a_later_batch_with_their_cost(database):
    batch, _, _ = pour(output_ng=1_000 * G)
    cut(batch, ends_weight=50 * G, keep_ends=True)
    ends = lots(batch)[f"{batch.code}-ends"]
    first = load_formula(code="plain").version
    lines = [
        LineSpec(
            material=row.material, basis=Basis(row.basis), amount=row.amount, stage=Stage(row.stage)
        )
        for row in first.lines.select_related("material")
    ]
    confetti = LineSpec(
        material=ends.material, basis=Basis.FIXED, amount=Decimal(50), stage=Stage.TRACE
    )
    names = ("naoh", "water", "superfat", "lye_concentration", "cure_days")
    values = {name: getattr(first, name) for name in names}
    next_version(first.formula, VersionSpec(lines=[*lines, confetti], **values))
    later = plan_batch(
        make_plan(load_formula(code="plain"), Wish(target=FatTarget(500 * G), bars=4)),
        planned_on=TODAY,
    )
    reserve_batch(later.code)
    taken = pour_batch(later.code, Poured(on=TODAY)).taken
    assert [(take.amount, take.cost) for take in taken if take.lot.pk == ends.pk] == [
        (50 * G, ends.cost)
    ]
    assert prove_books().differences == ()


def test_ends_that_are_not_kept_cost_the_good_bars(database):
    batch, _, cost = pour()
    cut(batch, good_weight=900 * G, rejected_weight=0, ends_weight=40 * G)
    assert costs(batch) == (cost, 0, 0)
    assert not Material.objects.filter(code="plain-ends").exists()
    record = CutRecord.objects.get(batch=batch)
    assert (record.good_weight, record.rejected_weight, record.ends_weight) == (900 * G, 0, 40 * G)


@pytest.mark.parametrize("kept", [0, 1, 333, 1000])
def test_without_a_good_bar_what_is_not_kept_is_a_loss(database, kept):
    batch, poured, cost = pour(output_ng=1_000 * G)
    cut(batch, good=0, bars_rejected=8, ends_weight=kept * G, keep_ends=bool(kept))
    bars, ends, loss = costs(batch)
    assert (bars, ends + loss) == (0, cost)
    assert abs(ends - cost * kept / 1000) <= 1
    poured.refresh_from_db()
    assert (poured.on_hand, poured.cost) == (0, 0)
    assert prove_books().differences == ()


def test_cost_in_is_bars_ends_and_loss_through_to_the_release(database):
    make_rates()
    batch, _, cost = pour(minutes=31)
    cut(batch, good=7, ends_weight=55 * G, keep_ends=True, ends_cost_share=Decimal("0.05"))
    cure_batch(batch.code, Cured(on=LATER, minutes=7))
    costing = cost_of_batch(batch.code)
    recovered = -costing.cost.of(CostKind.RECOVERED)
    made = lots(batch)
    assert recovered == made[f"{batch.code}-ends"].cost > 0
    assert costing.cost.total == made[batch.code].cost
    spent = sum(line.cost for line in costing.cost.lines if line.kind != CostKind.RECOVERED)
    assert spent == made[batch.code].cost + recovered and spent > cost
    assert prove_books().differences == ()


@pytest.mark.parametrize("kept", [0, 90 * G])
def test_unusual_rejects_are_spoiled_and_cost_the_good_bars_nothing(database, kept):
    batch, poured, cost = pour(output_ng=1_000 * G)
    ends = {"ends_weight": kept, "keep_ends": True} if kept else {}
    cut(batch, good=6, bars_rejected=2, bars_rejected_abnormal=1, **ends)
    bars, on_ends, loss = costs(batch)
    assert bars + on_ends + loss == cost
    # One of eight bars; what is left of their part falls on the six good ones.
    assert abs(loss - (cost - on_ends) / 8) <= 1
    poured.refresh_from_db()
    assert (poured.on_hand, poured.cost) == (0, 0)
    assert Batch.objects.get(pk=batch.pk).bars_rejected_abnormal == 1
    assert prove_books().differences == ()


def test_minutes_are_kept_by_task(database):
    batch, _, _ = pour(minutes=30)
    cut(batch, minutes=7)
    cure_batch(batch.code, Cured(on=LATER, minutes=11))
    kept = Batch.objects.get(pk=batch.pk)
    assert (kept.mix_minutes, kept.cut_minutes, kept.wrap_minutes) == (30, 7, 11)
    assert kept.minutes == 48


def test_blocked_soap_makes_blocked_bars_and_blocked_ends(database):
    batch, poured, _ = pour()
    hold_lot(poured.pk, reason="recall")
    cut(batch, ends_weight=10 * G, keep_ends=True)
    assert {(lot.state, lot.state_reason) for lot in lots(batch).values() if lot.on_hand} == {
        ("blocked", "recall; curing"),  # the bars
        ("blocked", "recall"),
    }


@pytest.mark.parametrize(
    ("values", "fields"),
    [
        ({"keep_ends": True}, {"ends_weight"}),
        ({"ends_weight": -1, "good_weight": -1}, {"ends_weight", "good_weight"}),
        ({"ends_weight": 10 * G, "ends_cost_share": Decimal("0.1")}, {"ends_cost_share"}),
        ({"ends_weight": 1_000 * G, "keep_ends": True}, {"ends_weight"}),
        (
            {"good": 0, "bars_rejected": 8, "ends_weight": 1_001 * G, "keep_ends": True},
            {"ends_weight"},
        ),
        (
            {"ends_weight": 10 * G, "keep_ends": True, "ends_cost_share": Decimal(1)},
            {"ends_cost_share"},
        ),
        ({"bars_rejected": 1, "bars_rejected_abnormal": 2}, {"bars_rejected_abnormal"}),
        ({"bars_rejected_abnormal": -1}, {"bars_rejected_abnormal"}),
        (
            {
                "bars_rejected": 1,
                "bars_rejected_abnormal": 1,
                "ends_weight": 1_000 * G,
                "keep_ends": True,
            },
            {"ends_weight"},
        ),
        (
            {
                "good": 0,
                "bars_rejected": 1,
                "ends_weight": 10 * G,
                "keep_ends": True,
                "ends_cost_share": Decimal("0.1"),
            },
            {"ends_cost_share"},
        ),
    ],
)
def test_cuts_that_cannot_be_are_refused_and_nothing_is_cut(database, values, fields):
    batch, poured, cost = pour(output_ng=1_000 * G)
    with pytest.raises(InvalidInput) as refused, transaction.atomic():
        cut(batch, **values)
    assert {fault.field for fault in refused.value.faults} == fields
    poured.refresh_from_db()
    assert (poured.on_hand, poured.cost) == (1_000 * G, cost)
    assert Batch.objects.get(pk=batch.pk).state == "poured"


def test_the_record_of_a_cut_cannot_lose_cost(database):
    batch, _, _ = pour()
    cut(batch)
    with pytest.raises(IntegrityError), transaction.atomic():
        CutRecord.objects.filter(batch=batch).update(loss=1)


def test_a_produce_entry_that_was_raised_together_with_its_lot_is_found(database):
    """Row and entries of the lot agree, so only the batch's own books can tell."""
    batch, _, cost = pour()
    cut(batch)
    assert prove_books().holds
    ENTRIES.take_off(connection)
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE inventory_stockentry SET cost = cost + 1 WHERE verb = 'produce' AND lot_id IN "
            "(SELECT id FROM inventory_lot WHERE code = %s)",
            [batch.code],
        )
        cursor.execute("UPDATE inventory_lot SET cost = cost + 1 WHERE code = %s", [batch.code])
    ENTRIES.put_on(connection)
    (found,) = prove_books().differences
    # the batter is on both sides: produced by the pour, consumed by the cut
    assert (found.document, found.lot) == (batch.holder, "")
    assert (found.on_row, found.in_books) == (2 * cost + 1, 2 * cost)
    out = StringIO()
    with pytest.raises(CommandError, match=f"differ for 1 document: {batch.holder}"):
        call_command("prove", stdout=out)
    assert f"{batch.holder}: cost of what was produced and packed is " in out.getvalue()
