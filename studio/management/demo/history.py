"""What happened in the invented studio so far: deliveries and batches, oldest first."""

from collections.abc import Callable, Iterator, Mapping
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from costing.domain.rates.rates import RateKind
from costing.services.rates.rates import RateDescription, save_rate
from inventory.domain.catalog.certificate import Certificate
from inventory.domain.receiving.landed_cost import Basis, Charge, ChargeKind
from inventory.domain.stock.lots import LotState
from inventory.queries.stock.lots import lots_to_count
from inventory.services.counting.counts import Counted, count_lot
from inventory.services.receiving.deliveries import receive_delivery
from inventory.services.receiving.received import Received, ReceivedLine
from inventory.services.stock.ledger import Origin
from recipes.queries.formulas.formulas import load_formula
from recipes.queries.scaling.plans import make_plan
from recipes.services.bench.batches import cancel_batch
from recipes.services.bench.pouring import Poured, pour_batch
from recipes.services.cure.finishing import Cured, Cut, cure_batch, cut_batch
from recipes.services.scaling.planning import Asked, plan_batch, wish_from
from studio.foundation.money import parse_money
from studio.foundation.units.conversion import mass_ng
from studio.foundation.units.grammar import parse_quantity
from studio.foundation.units.registry import Dimension
from studio.management.demo.reserving import reserve_and_accept
from studio.management.demo.scenario import read

Table = Mapping[str, Any]
Step = tuple[int, Callable[[], Any]]
_CERTIFICATE = {"sv": "sv_mg_koh_g", "purity": "purity", "ifra": "ifra_category9_max"}
#: The order in which a batch goes on; each demonstration batch stops at one of these.
_LIFE = ("planned", "reserved", "poured", "cut", "cured")


def steps(today: date) -> Iterator[Callable[[], Any]]:
    """All that happened, as calls in the order of their days."""
    history = read("demo/history")
    found: list[Step] = [(-table["days_ago"], _rate(table, today)) for table in history["rate"]]
    found += [(-table["days_ago"], _delivery(table, today)) for table in history["delivery"]]
    found += [(-table["days_ago"], _count(table, today)) for table in history["count"]]
    for table in history["batch"]:
        found += _batch(table, today)
    # Stable: what happened on one day keeps the order of the file.
    for _, step in sorted(found, key=lambda pair: pair[0]):
        yield step


def _rate(table: Table, today: date) -> Callable[[], Any]:
    described = RateDescription(
        kind=RateKind(table["kind"]),
        amount=parse_money(table["amount"]),
        effective_from=today - timedelta(days=table["days_ago"]),
    )
    return lambda: save_rate(described)


def _delivery(table: Table, today: date) -> Callable[[], Any]:
    day = today - timedelta(days=table["days_ago"])
    charges = [
        Charge(
            kind=ChargeKind(charge["kind"]),
            amount=parse_money(charge["amount"], allow_negative=True),
            basis=Basis(charge.get("basis", Basis.VALUE.value)),
        )
        for charge in table.get("charges", ())
    ]
    received = Received(
        supplier=table["supplier"],
        received_on=day,
        invoice=table["invoice"],
        lines=[received_line(line, day) for line in table["lines"]],
        charges=charges,
        note="Invented for the demonstration.",
    )
    return lambda: receive_delivery(received)


def _count(table: Table, today: date) -> Callable[[], Any]:
    """The shelf as it was found on a day: all of it, and as the books say."""
    day = today - timedelta(days=table["days_ago"])

    def count_all() -> None:
        for lot in lots_to_count():
            counted = Counted(lot_id=lot.pk, found=lot.on_hand, on=day, reason=table["reason"])
            count_lot(counted, origin=Origin(reference=f"count:{lot.code}"))

    return count_all


def received_line(table: Table, day: date) -> ReceivedLine:
    """One line of an invented delivery received on `day`."""
    values: dict[str, Any] = {
        name: table[name] for name in ("offer", "packs", "supplier_lot") if name in table
    }
    values |= {name: Decimal(table[key]) for key, name in _CERTIFICATE.items() if key in table}
    if "best_before_days" in table:
        values["best_before"] = day + timedelta(days=table["best_before_days"])
    if "blocked" in table:
        values |= {"state": LotState.BLOCKED, "state_reason": table["blocked"]}
    elif "state" in table:
        values["state"] = LotState(table["state"])
    return ReceivedLine(certificate=Certificate.out_of(values), **values)


def _batch(table: Table, today: date) -> list[Step]:
    """The steps of one batch, each on its own day; they share the code that planning gives."""
    day = -table["days_ago"]
    on = today + timedelta(days=day)
    made: list[str] = []
    plan = (day, lambda: made.append(_planned(table, on)))
    if table["until"] == "cancelled":
        return [plan, (day, lambda: cancel_batch(made[0], reason="mold was taken"))]
    every = [plan, (day, lambda: reserve_and_accept(made[0])), *_bench(table, on, day, made)]
    return every[: _LIFE.index(table["until"]) + 1]


def _planned(table: Table, on: date) -> str:
    batter = table.get("batter")
    asked = Asked(
        mold=table.get("mold"),
        batter_ng=mass_ng(parse_quantity(batter, Dimension.MASS)) if batter else None,
    )
    plan = make_plan(load_formula(code=table["formula"]), wish_from(asked))
    return plan_batch(plan, planned_on=on).code


def _bench(table: Table, on: date, day: int, made: list[str]) -> list[Step]:
    """Pour, cut a day later, cure when the recipe's time is over."""
    minutes = [*table.get("minutes", ()), 0, 0, 0]
    good, rejected = table.get("bars", (0, 0))
    days = cure_days_of(table["formula"])
    poured = Poured(on=on, minutes=minutes[0])
    cut = Cut(on=on + timedelta(days=1), bars_good=good, bars_rejected=rejected, minutes=minutes[1])
    cured = Cured(on=on + timedelta(days=days), minutes=minutes[2])
    return [
        (day, lambda: pour_batch(made[0], poured)),
        (day + 1, lambda: cut_batch(made[0], cut)),
        (day + days, lambda: cure_batch(made[0], cured)),
    ]


def cure_days_of(code: str) -> int:
    """How long the recipe of the demonstration cures, in days."""
    return next(
        int(table.get("cure_days", 0))
        for table in read("demo/recipes")["formula"]
        if table["code"] == code
    )
