"""Lots as a table: the opening stock of a studio comes in, and what stands on the shelf goes out.

A new lot is received through the ledger like any other stock, with the cost that is stated for it.
A lot that is there may be certified, moved and judged; its stock is changed by counts alone.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Any

from django.db.models import QuerySet

from inventory.domain.catalog.allergens import LONGEST_NAME, SHARE_PLACES, Allergen
from inventory.domain.catalog.certificate import CERTIFIED, VALUES, Certificate, Value
from inventory.domain.catalog.materials import RANGES, MaterialKind
from inventory.domain.catalog.unusual import UNUSUAL
from inventory.domain.stock.holds import LONGEST_REASON, Cause
from inventory.domain.stock.lots import LotState
from inventory.errors import LotHeld
from inventory.models.stock.holds import Hold
from inventory.models.stock.lots import Lot
from inventory.queries.stock.certificates import (
    confirmed_lots,
    is_confirmed,
    unusual_of_lots,
    unusual_values,
)
from inventory.queries.stock.holds import open_holds, open_holds_by_lot
from inventory.services.exchange.columns import (
    MONEY,
    STOCK,
    share_column,
    stock_text,
    text_column,
    yes_no_column,
)
from inventory.services.stock.certificates import LABELED, certify_lot, weigh_from
from inventory.services.stock.hold_verbs import hold_lot, release_lot
from inventory.services.stock.locations import move_lot
from inventory.services.stock.opening_stock import OpeningLot, receive_opening_lot
from studio.foundation.errors import Faults, InvalidInput, Refusal
from studio.foundation.roles import Capability
from studio.foundation.tables.columns import Column, Layout, Row
from studio.foundation.tables.kinds import Amount, Choice, Code, Day, Number, Text
from studio.foundation.tables.listed import Listed
from studio.foundation.units.quantity import Quantity
from studio.work.exchange.registry import ExchangeTable, Outcome, Taking, refuse_taken, require

_STATED = (*CERTIFIED, *LABELED)
_CHANGED = frozenset({*_STATED, "location", "state"})


def _measured(name: str, value: Value) -> Column:
    if value.is_share:
        return share_column(name, value.meaning, value.example)
    kind = Number(places=value.places, unit=f"in {value.unit}", below_zero=RANGES[name].low < 0)
    return Column(name, kind, value.meaning, value.example)


LAYOUT = Layout(
    (
        Column(
            "code", Code(), "the lot's code, which stands on its label", "OL-2026-03", needed=True
        ),
        Column("material", Code(), "code of the material", "olive-oil", needed=True),
        Column(
            "amount",
            Amount(STOCK, "7 lb 8 oz"),
            "what is on hand; a volume is weighed by the density",
            "1 gal",
            needed=True,
        ),
        Column(
            "cost",
            MONEY,
            "what that cost, freight and duty included",
            "41.2",
            needed=True,
            cost=True,
        ),
        Column("received_on", Day(), "the day it came in or was made", "2026-03-02", needed=True),
        Column(
            "supplier", Code(), "code of the supplier; empty for what was made here", "mill-lane"
        ),
        text_column("supplier_lot", 60, "the supplier's own lot number", "26-0117"),
        Column(
            "best_before", Day(), "best before; empty: by the material's shelf life", "2027-08-31"
        ),
        Column(
            "state",
            Choice(tuple(state.value for state in LotState)),
            "only a released lot is used; empty: released; bars in quarantine cure",
            "released",
            empty=LotState.RELEASED.value,
        ),
        text_column("state_reason", LONGEST_REASON, "why it is held, or released again"),
        Column(
            "held_for",
            Listed(
                first=Choice(tuple(cause.value for cause in Cause)),
                second=Day(),
                example="lye-heavy 2026-03-05; by-hand 2026-03-09",
            ),
            "what a new lot is held for, and since when; empty: by its state, blocked by hand",
            empty=(),
        ),
        Column(
            "cures_until",
            Day(),
            "the day on which the cure of bars in quarantine is over, where it is known",
        ),
        Column("location", Code(), "code of the place where it stands; empty: none"),
        *(_measured(name, value) for name, value in VALUES.items()),
        Column(
            "allergens",
            Listed(
                first=Text(LONGEST_NAME),
                second=Number(places=SHARE_PLACES, unit="a share of the material", percent=True),
                example="Linalool 0.012; Limonene 0.003",
                none="none",
            ),
            "fragrance allergens by its certificate; empty: none stated",
        ),
        yes_no_column(
            "confirmed",
            "whether unusual values of its certificate were read again and are so",
            empty=False,
        ),
        text_column("note", 2000, "anything else"),
    )
)


def take_lot(rows: Sequence[Row], taking: Taking) -> Outcome:
    """Receive one lot, or bring what its certificate and place say up to the row."""
    (row,) = rows
    kept = _lots().filter(code=row.values["code"]).first()
    if kept is not None:
        refuse_taken(kept.code, taking)
    require(row, LAYOUT, taking, new=kept is None)
    if kept is not None:
        _refuse_stock(row.values, kept, taking)
        return Outcome.CHANGED if _bring_up(row.values, kept, taking) else Outcome.UNCHANGED
    values = dict(row.values)
    location = values.pop("location", None)
    values["allergens"] = _allergens(values.get("allergens"))
    values["state"] = LotState(values.get("state", LotState.RELEASED))
    values["held_for"] = [(Cause(cause), day) for cause, day in values.get("held_for", ())]
    values["quantity"] = values.pop("amount")
    values["confirmed"] = _confirmed(values)
    lot = receive_opening_lot(
        OpeningLot(certificate=Certificate.out_of(values), **values), by=taking.by
    )
    if location:
        move_lot(lot.pk, location, by=taking.by)
    return Outcome.CREATED


def _refuse_stock(values: Mapping[str, Any], lot: Lot, taking: Taking) -> None:
    """Refuse what an import cannot change of a lot: what it is, how much, and what it cost."""
    stands = _row(lot, open_holds(lot.pk))
    faults = Faults()
    for name in ("material", "supplier", "received_on", "cures_until"):
        if name in values and values[name] != stands[name]:
            faults.add(
                "fixed", f"It stays {stands[name] or 'empty'}: what came in is not rewritten.", name
            )
    if values.get("held_for") and values["held_for"] != stands["held_for"]:
        told = "What holds a lot that is there is changed on its page, and its state by the column."
        faults.add("fixed", told, "held_for")
    if values.get("amount") is not None:
        _check_amount(faults, lot, values["amount"])
    if values.get("cost") is not None and values["cost"] != lot.cost:
        faults.add("stock-fixed", "What it cost is changed by no import.", "cost")
    faults.raise_if_any(InvalidInput)


def _check_amount(faults: Faults, lot: Lot, quantity: Quantity) -> None:
    try:
        same = weigh_from(lot, quantity) == lot.on_hand
    except Refusal as refusal:
        faults.take(refusal, "amount")
        return
    if not same:
        holds = stock_text(lot.on_hand, counted=lot.material.counted)
        faults.add(
            "stock-fixed",
            f"{lot.code} holds {holds}: count the lot to change its stock, or take the column out.",
            "amount",
        )


def _bring_up(values: Mapping[str, Any], lot: Lot, taking: Taking) -> bool:
    """Certify, move and judge a lot as its row says; whether anything was to do."""
    stands = _row(lot, open_holds(lot.pk))
    differing = {name for name in values if values[name] != stands[name]}
    stated = {name: values[name] for name in _STATED if name in differing}
    if "allergens" in stated:
        stated["allergens"] = _allergens(stated["allergens"])
    # Values that stand already are kept as confirmed, too.
    confirms = bool(values.get("confirmed")) and any(
        confirmed is None for _, confirmed in unusual_values(lot)
    )
    if stated or confirms:
        certify_lot(lot.pk, stated, confirmed=_confirmed(values), by=taking.by)
    if "location" in differing:
        move_lot(lot.pk, values["location"], by=taking.by)
    if "state" in differing:
        _judge(lot, LotState(values["state"]), values.get("state_reason", ""), taking)
    elif "state_reason" in differing and lot.state != LotState.RELEASED:
        raise InvalidInput(
            f"It is held for this: {lot.state_reason}. To hold it for more, use its page.",
            field="state_reason",
        )
    return confirms or bool(differing & _CHANGED)


def _judge(lot: Lot, wanted: LotState, reason: str, taking: Taking) -> None:
    """Hold a lot, or release it, as its row asks; its state is what its holds then say.

    Raises StateConflict where holds of other causes do not let it be what was asked for.
    """
    if wanted is LotState.RELEASED:
        # The reason that stands there tells why it was held, not why it is free.
        why = "" if reason == lot.state_reason else reason
        if not why.strip():
            raise InvalidInput("Say why it is released.", field="state_reason")
        lot = release_lot(lot.pk, reason=why, by=taking.by)
    else:
        cause = Cause.BY_HAND if wanted is LotState.BLOCKED else Cause.ARRIVAL
        lot = hold_lot(lot.pk, reason=reason, cause=cause, by=taking.by)
    if lot.state != wanted.value:
        raise LotHeld(f"Lot {lot.code} stays {lot.state}: {lot.state_reason}", field="state")


def _confirmed(values: Mapping[str, Any]) -> Collection[str]:
    return UNUSUAL if values.get("confirmed") else ()


def _allergens(pairs: Sequence[tuple[str, Any]] | None) -> tuple[Allergen, ...] | None:
    return None if pairs is None else tuple(Allergen(*pair) for pair in pairs)


def lot_rows() -> Iterator[Mapping[str, Any]]:
    """Every lot that holds something on a shelf; poured soap belongs to its batch.

    Three queries, and two more where something was measured on lots that were made here.
    """
    held = _lots().filter(on_hand__gt=0).exclude(material__kind=MaterialKind.BATTER.value)
    lots = list(held.order_by("code"))
    kept, holds = confirmed_lots(), open_holds_by_lot()
    unusual = unusual_of_lots(lots, {lot.material_id: lot.material for lot in lots})
    for lot in lots:
        confirmed = is_confirmed(lot, unusual[lot.pk], kept)
        yield _row(lot, holds.get(lot.pk, ()), confirmed=confirmed)


def _lots() -> QuerySet[Lot]:
    return Lot.objects.select_related("material", "supplier", "location")


def _row(lot: Lot, holds: Sequence[Hold], *, confirmed: bool = False) -> dict[str, Any]:
    allergens = lot.certificate.allergens
    return {
        "code": lot.code,
        "material": lot.material.code,
        "amount": stock_text(lot.on_hand, counted=lot.material.counted),
        "cost": lot.cost,
        "received_on": lot.received_on,
        "supplier": lot.supplier.code if lot.supplier else None,
        "state": lot.state,
        "state_reason": lot.state_reason,
        # What is made of a held lot may be held since a day before its own.
        "held_for": tuple((each.cause, max(each.on, lot.received_on)) for each in holds),
        "cures_until": max((each.until for each in holds if each.until), default=None),
        "location": lot.location.code if lot.location else None,
        "confirmed": confirmed,
        **{name: getattr(lot, name) for name in (*VALUES, *LABELED)},
        "allergens": None
        if allergens is None
        else tuple((each.name, each.share) for each in allergens),
    }


LOTS = ExchangeTable(
    name="lots",
    title="Lots",
    layout=LAYOUT,
    needed=Capability.KEEP_STOCK,
    rows=lot_rows,
    take=take_lot,
)
