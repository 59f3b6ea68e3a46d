"""A bare release lifts quarantine on arrival and blocks set by hand, never what a batch holds."""

from datetime import timedelta
from decimal import Decimal

import pytest

from inventory.domain.stock.lots import LotStatus
from inventory.errors import LotHeld
from inventory.models.stock.lots import Lot
from inventory.services.stock.certificates import certify_lot
from inventory.services.stock.lots import set_lot_status
from recipes.models.bench.batches import Batch, BatchLine
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.finishing import Cured, Cut, cure_batch, cut_batch
from tests.inventory.making import TODAY
from tests.recipes.making import make_bench, planned, stock

pytestmark = pytest.mark.django_db
G = 10**9
FREER = (LotStatus.QUARANTINE, LotStatus.RELEASED)


def cut(naoh=1):
    """A batch that is cut, with ends; `naoh` times the planned NaOH went in."""
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    line = BatchLine.objects.get(batch=batch, part="naoh")
    pour_batch(batch.code, Poured(on=TODAY, actual={line.position: int(line.planned * naoh)}))
    cut_batch(batch.code, Cut(on=TODAY, bars_good=7, ends_weight=50 * G, keep_ends=True))
    return Batch.objects.get(pk=batch.pk)


def status(lot):
    return Lot.objects.get(pk=lot.pk).status


def test_lye_heavy_soap_is_freed_by_no_status_and_no_cure():
    batch = cut(naoh=Decimal("1.2"))
    for lot in (batch.bar_lot, batch.cut_record.ends_lot, batch.poured_lot):
        assert status(lot) == "blocked"
        set_lot_status(lot.pk, LotStatus.BLOCKED, reason="by hand, too")
        for freer in FREER:
            with pytest.raises(LotHeld, match=r"Lye-heavy.* Write the lot off"):
                set_lot_status(lot.pk, freer)
        assert status(lot) == "blocked"


def test_a_corrected_certificate_is_the_way_out_of_what_was_never_lye_heavy():
    batch = cut(naoh=Decimal("1.2"))
    certify_lot(Lot.objects.get(material__code="naoh").pk, {"purity": Decimal("0.75")})
    set_lot_status(batch.bar_lot.pk, LotStatus.QUARANTINE)
    cure_batch(batch.code, Cured(on=TODAY + timedelta(days=28)))
    assert status(batch.bar_lot) == "released"


def test_curing_bars_are_released_by_the_cure_alone():
    batch = cut()
    bars = batch.bar_lot
    for first in (LotStatus.QUARANTINE, LotStatus.BLOCKED):
        set_lot_status(bars.pk, first, reason="looked at")
        with pytest.raises(LotHeld, match="finish the cure"):
            set_lot_status(bars.pk, LotStatus.RELEASED)
    set_lot_status(bars.pk, LotStatus.QUARANTINE, reason="looked at")
    cure_batch(batch.code, Cured(on=TODAY + timedelta(days=28)))
    assert status(bars) == "released"
    set_lot_status(bars.pk, LotStatus.BLOCKED, reason="by hand")
    set_lot_status(bars.pk, LotStatus.RELEASED)
    assert status(bars) == "released"


def test_ends_may_be_used_while_the_bars_cure():
    ends = cut().cut_record.ends_lot
    set_lot_status(ends.pk, LotStatus.BLOCKED, reason="by hand")
    set_lot_status(ends.pk, LotStatus.RELEASED)
    assert status(ends) == "released"
