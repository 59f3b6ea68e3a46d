"""A batch that has cured long enough is told of once, until it is booked as cured."""

from datetime import UTC, datetime, time, timedelta

from inventory.domain.stock.holds import Cause, NewHold
from inventory.services.alerts.alerts import raise_alerts
from inventory.services.alerts.registry import Look
from inventory.services.stock.hold_verbs import end_cure
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.cure import cure_ready
from recipes.services.cure.finishing import Cured, Cut, cure_batch, cut_batch
from tests.inventory.making import KG, TODAY, make_lot, make_material
from tests.recipes.making import make_bench, planned, stock


def test_from_the_day_it_is_ready_until_it_is_booked(db):
    bench = make_bench()
    stock(bench)
    batch = planned(bench)
    reserve_batch(batch.code)
    pour_batch(batch.code, Poured(on=TODAY, minutes=30))
    cut_batch(batch.code, Cut(on=TODAY, bars_good=8, bars_rejected=0, minutes=5))
    ready = TODAY + timedelta(days=28)
    assert cure_ready(Look(on=ready - timedelta(days=1))) == []
    (found,) = cure_ready(Look(on=ready))
    assert (found.subject, found.figures["bars"]) == (f"batch:{batch.code}", 8)
    digest = raise_alerts(now=datetime.combine(ready, time(12), UTC)).digest
    assert f"batch {batch.code} is ready" in digest.subject and "8 bars of" in digest.body
    cure_batch(batch.code, Cured(on=ready, minutes=5))
    assert cure_ready(Look(on=ready)) == []


def test_opening_stock_is_told_when_its_cure_is_over(database):
    until = TODAY + timedelta(days=10)
    new = NewHold(cause=Cause.CURE, reason="curing", reference="opening:OLD", until=until)
    lot = make_lot(make_material(), KG, code="OLD", holds=[new])
    assert cure_ready(Look(on=until - timedelta(days=1))) == []
    (found,) = cure_ready(Look(on=until))
    assert found.subject == "lot:OLD" and "end its cure" in found.reason
    assert "which was here before the books began, was over on" in found.reason
    end_cure(lot.pk, on=until)
    assert cure_ready(Look(on=until)) == []
