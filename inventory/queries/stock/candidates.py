"""Lots that needs reach in the order of use, and which of them would be picked."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType

from django.db import connection

from inventory.domain.stock.lots import LotState, LotView
from inventory.domain.stock.picking import Choice, PickPlan, pick_all
from inventory.errors import NotForYou
from inventory.models.stock.lots import Lot
from inventory.queries.stock.holds import only_unsafe
from studio.foundation.errors import Faults, NotFound

#: The lots that the needs reach, in the order of use, locked in the order of their ids.
#: VALUES names its columns column1, column2 ... on PostgreSQL and on SQLite alike.
_CANDIDATES = """
SELECT * FROM inventory_lot WHERE {reached}{chosen}{held} ORDER BY id{lock}
"""
_REACHED = """
id IN (
    SELECT id FROM (
        SELECT lot.id, need.column2 AS needed,
            SUM(lot.on_hand - lot.reserved) OVER (
                PARTITION BY lot.material_id ORDER BY {order}
            ) - (lot.on_hand - lot.reserved) AS before
        FROM (VALUES {needs}) AS need {lots}
    ) AS ordered
    WHERE before < needed
)
"""
_OPEN = """
SELECT {columns} FROM inventory_lot lot
WHERE lot.material_id = need.column1 AND lot.state = 'released' AND lot.on_hand > lot.reserved
    AND lot.received_on <= {on} AND (lot.best_before IS NULL OR lot.best_before >= {on})
ORDER BY {order} LIMIT {reach}
"""
#: The orders of use: first expired, first out; or what came first (bars that have cured longest).
_FIRST_EXPIRED = "lot.best_before NULLS LAST, lot.received_on, lot.id"
_OLDEST = "lot.received_on, lot.id"
#: A look at the nearest lots of each material only, along the index of the order of use.
_JOINED = {
    "postgresql": f"CROSS JOIN LATERAL ({_OPEN}) AS lot".replace("{columns}", "lot.*"),
    "sqlite": f"JOIN inventory_lot lot ON lot.id IN ({_OPEN})".replace("{columns}", "lot.id"),
}
#: SQLite and PostgreSQL write "no limit" in ways of their own.
_NO_LIMIT = {"postgresql": "ALL", "sqlite": "-1"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Rebatch:
    """A batch asks: it may choose what is held as unsafe soap alone, on an owner's word.

    `by_owner`: who chooses may decide over such soap; `decided` are lots (ids) that an owner chose
    for this batch before.
    """

    by_owner: bool
    decided: Collection[int] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ChosenLot:
    """A lot the maker wants to be used first, by code; `amount` in stock units, or all it takes."""

    code: str
    amount: int | None = None


Choices = Mapping[int, Sequence[ChosenLot]]


def candidates(
    needs: Mapping[int, int],
    *,
    on: date,
    codes: Iterable[str] = (),
    ids: Iterable[int] = (),
    lock: bool = False,
    reach: int | None = None,
    oldest: bool = False,
) -> dict[int, Lot]:
    """The lots that `needs` (material id -> stock units) reach, and those named. One query.

    Lots are reached first-expired-first-out, or with `oldest` those that came first, until each
    need is covered, or `reach` lots of a material were looked at. A service may have them locked.
    """
    named, held = sorted(set(codes)), sorted(set(ids))
    params: list[object] = []
    reached = "1 = 0"
    if needs:
        rows = ", ".join(["(%s, %s)"] * len(needs))
        limit = _NO_LIMIT[connection.vendor] if reach is None else str(int(reach))
        order = _OLDEST if oldest else _FIRST_EXPIRED
        lots = _JOINED[connection.vendor].format(on="%s", reach=limit, order=order)
        reached = _REACHED.format(needs=rows, lots=lots, order=order)
        params += [part for need in needs.items() for part in need] + [on, on]
    sql = _CANDIDATES.format(
        reached=reached,
        chosen=f" OR code IN ({_marks(named)})" if named else "",
        held=f" OR id IN ({_marks(held)})" if held else "",
        lock=" FOR UPDATE" if lock and connection.features.has_select_for_update else "",
    )
    return {lot.pk: lot for lot in Lot.objects.raw(sql, [*params, *named, *held])}


def plan_picks(
    needs: Mapping[int, int],
    lots: Mapping[int, Lot],
    choices: Choices,
    *,
    on: date,
    credit: Mapping[int, int] = MappingProxyType({}),
    oldest: bool = False,
    rebatch: Rebatch | None = None,
) -> PickPlan:
    """Which of `lots` cover the needs: chosen ones first, then first-expired-first-out, or with
    `oldest` those that came first.

    `credit` is what the asker already holds of a lot (by id), so it is
    open to that asker. Raises NotFound for a chosen code that is not among the lots, LotNotUsable
    for a choice that cannot be followed, NotForYou for unsafe soap that no owner chose.
    """
    unsafe = _unsafe_chosen(lots, choices, rebatch) if rebatch else ()
    views = {
        lot.code: view_of(lot, credit.get(lot.pk, 0), for_rebatch=lot.pk in unsafe)
        for lot in lots.values()
    }
    faults = Faults()
    chosen: dict[int, list[Choice]] = defaultdict(list)
    for material, some in choices.items():
        for index, wish in enumerate(some):
            if wish.code in views:
                chosen[material].append(Choice(views[wish.code], wish.amount))
            else:
                faults.add(
                    "not-found",
                    f"There is no lot {wish.code}.",
                    f"chosen.{material}.{index}",
                )
    faults.raise_if_any(NotFound)
    return pick_all(needs, views.values(), on=on, chosen=chosen, oldest=oldest)


def _unsafe_chosen(lots: Mapping[int, Lot], choices: Choices, rebatch: Rebatch) -> frozenset[int]:
    """The unsafe lots (ids) that are chosen for a rebatch. Raises NotForYou."""
    fields = {
        wish.code: f"chosen.{material}.{index}"
        for material, some in choices.items()
        for index, wish in enumerate(some)
    }
    unsafe = only_unsafe(lot for lot in lots.values() if lot.code in fields)
    faults = Faults()
    for lot in () if rebatch.by_owner else [lots[pk] for pk in sorted(unsafe)]:
        if lot.pk not in rebatch.decided:
            faults.add(
                NotForYou.code,
                f"Lot {lot.code} is held as unsafe ({lot.state_reason}). An owner must choose it "
                "for a rebatch: ask an owner to reserve it, or choose another lot.",
                fields[lot.code],
                lot=lot.code,
            )
    faults.raise_if_any(NotForYou)
    return unsafe


def view_of(lot: Lot, credit: int = 0, *, for_rebatch: bool = False) -> LotView:
    """A lot as the picking rules see it, with `credit` of its reserved amount open to the asker."""
    return LotView(
        id=lot.pk,
        code=lot.code,
        material=lot.material_id,
        received_on=lot.received_on,
        on_hand=lot.on_hand,
        state=LotState(lot.state),
        best_before=lot.best_before,
        reserved=lot.reserved - credit,
        cost=lot.cost,
        for_rebatch=for_rebatch,
    )


def _marks(values: Sequence[object]) -> str:
    return ", ".join(["%s"] * len(values))
