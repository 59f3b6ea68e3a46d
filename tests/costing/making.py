"""A batch followed to its bars, with rates, for tests of costs. Prices are invented."""

from datetime import date, timedelta
from typing import Any

from costing.domain.rates.rates import ALWAYS, RateKind
from costing.models.rates.rates import Rate
from costing.services.rates.rates import RateDescription, save_rate
from inventory.models.stock.ledger import StockEntry
from inventory.models.stock.lots import Lot
from recipes.services.bench.batches import reserve_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.finishing import Cured, Cut, cure_batch, cut_batch
from tests.inventory.making import TODAY
from tests.recipes.making import Bench, planned

UNIT = 10_000
LABOR, PER_BATCH, PER_HOUR = 24 * UNIT, 5 * UNIT, 3 * UNIT


def make_rate(kind: RateKind, amount: int, *, since: date = date(2026, 1, 1)) -> Rate:
    return save_rate(RateDescription(kind=kind, amount=amount, effective_from=since))


def make_rates(*, since: date = date(2026, 1, 1)) -> None:
    """24.00 an hour of labor, 5.00 of overhead a batch and 3.00 a labor hour."""
    make_rate(RateKind.LABOR_HOUR, LABOR, since=since)
    make_rate(RateKind.OVERHEAD_BATCH, PER_BATCH, since=since)
    make_rate(RateKind.OVERHEAD_LABOR_HOUR, PER_HOUR, since=since)


def make_free_rates(*, since: date = date(2020, 1, 1)) -> None:
    """Labor and overhead that cost nothing: an answer, unlike no rate."""
    for kind in ALWAYS:
        make_rate(kind, 0, since=since)


def poured(bench: Bench, *, minutes: int = 40) -> str:
    """A batch of eight bars poured today; returns its code."""
    batch = planned(bench)
    reserve_batch(batch.code)
    pour_batch(batch.code, Poured(on=TODAY, minutes=minutes))
    return batch.code


def cut(bench: Bench, *, good: int = 8, rejected: int = 0, **values: Any) -> str:
    code = poured(bench)
    on = TODAY + timedelta(days=1)
    values.setdefault("minutes", 0)
    cut_batch(code, Cut(on=on, bars_good=good, bars_rejected=rejected, **values))
    return code


def cured(bench: Bench, *, good: int = 8, rejected: int = 0, late: int = 0, **values: Any) -> str:
    """A batch whose bars are released after 60 minutes of labor in all, `late` days after."""
    code = cut(bench, good=good, rejected=rejected, **values)
    cure_batch(code, Cured(on=TODAY + timedelta(days=28 + late), minutes=20))
    return code


def put_on(lot: Lot) -> int:
    """All cost that the ledger ever put on a lot."""
    entries = StockEntry.objects.filter(lot=lot, verb__in=("receive", "produce", "add_cost"))
    return sum(entry.cost for entry in entries)
