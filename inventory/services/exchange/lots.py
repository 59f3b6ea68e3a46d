"""Lots as a table: the opening stock of a studio comes in, and what stands on the shelf goes out.

A new lot is received through the ledger like any other stock, with the cost that is stated for it.
A lot that is there may be certified, moved and judged; its stock is changed by counts alone.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from inventory.domain.catalog.certificate import CERTIFIED, VALUES, Certificate, Value
from inventory.domain.catalog.materials import MaterialKind
from inventory.domain.catalog.ranges import RANGES
from inventory.domain.stock.allergens import LONGEST_NAME, SHARE_PLACES, Allergen
from inventory.domain.stock.lots import LotStatus
from inventory.models.stock.lots import Lot
from inventory.services.exchange.columns import (
    MONEY,
    STOCK,
    share_column,
    stock_text,
    text_column,
)
from inventory.services.stock.certificates import LABELED, certify_lot, weigh_from
from inventory.services.stock.locations import move_lot
from inventory.services.stock.lots import set_lot_status
from inventory.services.stock.opening_stock import OpeningLot, receive_opening_lot
from studio.foundation.errors import Faults, InvalidInput, Refusal
from studio.foundation.roles import Capability
from studio.foundation.tables.columns import Column, Layout, Row
from studio.foundation.tables.kinds import Amount, Choice, Code, Day, Number, Text
from studio.foundation.tables.listed import Listed
from studio.foundation.units.quantity import Quantity
from studio.work.exchange.registry import ExchangeTable, Outcome, Taking, refuse_taken, require

_STATED = (*CERTIFIED, *LABELED)
_CHANGED = frozenset({*_STATED, "location", "status", "status_reason"})


def _measured(name: str, value: Value) -> Column:
    if value.is_share:
        return share_column(name, value.meaning, value.example)
    kind = Number(places=value.places, unit=f"in {value.unit}", below_zero=RANGES[name].low < 0)
    return Column(name=name, kind=kind, meaning=value.meaning, example=value.example)


LAYOUT = Layout(
    (
        Column(
            name="code",
            kind=Code(),
            meaning="the lot's code, which stands on its label",
            example="OL-2026-03",
            needed=True,
        ),
        Column(
            name="material",
            kind=Code(),
            meaning="code of the material",
            example="olive-oil",
            needed=True,
        ),
        Column(
            name="amount",
            kind=Amount(STOCK, "7 lb 8 oz"),
            meaning="what is on hand; a volume is weighed by the density",
            example="1 gal",
            needed=True,
        ),
        Column(
            name="cost",
            kind=MONEY,
            meaning="what that cost, freight and duty included",
            example="41.2",
            needed=True,
            cost=True,
        ),
        Column(
            name="received_on",
            kind=Day(),
            meaning="the day it came in or was made",
            example="2026-03-02",
            needed=True,
        ),
        Column(
            name="supplier",
            kind=Code(),
            meaning="code of the supplier; empty for what was made here",
            example="mill-lane",
        ),
        text_column("supplier_lot", 60, "the supplier's own lot number", "26-0117"),
        Column(
            name="best_before",
            kind=Day(),
            meaning="best before; empty: by the material's shelf life",
            example="2027-08-31",
        ),
        Column(
            name="status",
            kind=Choice(tuple(status.value for status in LotStatus)),
            meaning="only a released lot is used; empty: released",
            example="released",
            empty=LotStatus.RELEASED.value,
        ),
        text_column("status_reason", 200, "why it is blocked or held back"),
        Column(
            name="location", kind=Code(), meaning="code of the place where it stands; empty: none"
        ),
        *(_measured(name, value) for name, value in VALUES.items()),
        Column(
            name="allergens",
            kind=Listed(
                first=Text(LONGEST_NAME),
                second=Number(places=SHARE_PLACES, unit="a share of the material", percent=True),
                example="Linalool 0.012; Limonene 0.003",
                none="none",
            ),
            meaning="fragrance allergens by its certificate; empty: none stated",
        ),
        text_column("note", 2000, "anything else"),
    )
)


def take_lot(rows: Sequence[Row], taking: Taking) -> Outcome:
    """Receive one lot, or bring what its certificate and place say up to the row."""
    (row,) = rows
    kept = (
        Lot.objects.select_related("material", "supplier", "location")
        .filter(code=row.values["code"])
        .first()
    )
    if kept is not None:
        refuse_taken(kept.code, taking)
    require(row, LAYOUT, taking, new=kept is None)
    if kept is not None:
        _refuse_stock(row.values, kept, taking)
        return Outcome.CHANGED if _bring_up(row.values, kept, taking) else Outcome.UNCHANGED
    values = dict(row.values)
    location = values.pop("location", None)
    values["allergens"] = _allergens(values.get("allergens"))
    values["status"] = LotStatus(values.get("status", LotStatus.RELEASED))
    values["quantity"] = values.pop("amount")
    lot = receive_opening_lot(
        OpeningLot(certificate=Certificate.out_of(values), **values), by=taking.by
    )
    if location:
        move_lot(lot.pk, location, by=taking.by)
    return Outcome.CREATED


def _refuse_stock(values: Mapping[str, Any], lot: Lot, taking: Taking) -> None:
    """Refuse what an import cannot change of a lot: what it is, how much, and what it cost."""
    stands = _row(lot)
    faults = Faults()
    for name in ("material", "supplier", "received_on"):
        if name in values and values[name] != stands[name]:
            faults.add(
                "fixed", f"It stays {stands[name] or 'empty'}: what came in is not rewritten.", name
            )
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
    stands = _row(lot)
    differing = {name for name in values if values[name] != stands[name]}
    stated = {name: values[name] for name in _STATED if name in differing}
    if "allergens" in stated:
        stated["allergens"] = _allergens(stated["allergens"])
    if stated:
        certify_lot(lot.pk, stated, by=taking.by)
    if "location" in differing:
        move_lot(lot.pk, values["location"], by=taking.by)
    if differing & {"status", "status_reason"}:
        status = LotStatus(values.get("status", stands["status"]))
        reason = values.get("status_reason", stands["status_reason"])
        set_lot_status(lot.pk, status, reason=reason)
    return bool(differing & _CHANGED)


def _allergens(pairs: Sequence[tuple[str, Any]] | None) -> tuple[Allergen, ...] | None:
    return None if pairs is None else tuple(Allergen(*pair) for pair in pairs)


def lot_rows() -> Iterator[Mapping[str, Any]]:
    """Every lot that holds something on a shelf; poured soap belongs to its batch. One query."""
    held = Lot.objects.filter(on_hand__gt=0).exclude(material__kind=MaterialKind.BATTER.value)
    for lot in held.select_related("material", "supplier", "location").order_by("code"):
        yield _row(lot)


def _row(lot: Lot) -> dict[str, Any]:
    allergens = lot.certificate.allergens
    return {
        "code": lot.code,
        "material": lot.material.code,
        "amount": stock_text(lot.on_hand, counted=lot.material.counted),
        "cost": lot.cost,
        "received_on": lot.received_on,
        "supplier": lot.supplier.code if lot.supplier else None,
        "status": lot.status,
        "status_reason": lot.status_reason,
        "location": lot.location.code if lot.location else None,
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
