"""The recall report in words and numbers, for paper and for spreadsheets."""

from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.utils import timezone

from inventory.domain.shipping.trace import CustomerShare, Shipped, TracedLot
from inventory.queries.shipping.recall import RecallReport
from studio.foundation.tables.cells import Cell
from studio.foundation.tables.saved import SavedTable
from studio.foundation.units.writing import format_amount

REPORT = Path(__file__).with_name("recall.typ")
HEADS = (
    "level", "lot", "material", "state", "received", "amount", "on hand", "unit", "came from",
    "supplier", "supplier's lot", "customer", "shipment", "their reference", "shipped on",
    "customer has", "unit of it",
)  # fmt: skip


def recall_values(report: RecallReport) -> dict[str, Any]:
    """All that stands on the report, as text."""
    recall, affected = report.recall, report.affected
    start = affected.trace.start
    return {
        "recall": recall.code,
        "lot": start.code,
        "material": start.material_name,
        "reason": recall.reason,
        "facts": _facts(report, start),
        "lifted": _lifted(report),
        "customers": [
            {
                "name": share.customer,
                "reach": _reach(report, share),
                "lines": [_shipped(one) for one in share.shipped],
            }
            for share in affected.customers
        ],
        "lots": [_lot(lot) for lot in affected.trace.lots],
        "held": [
            {"lot": one.lot, "holder": one.holder, "amount": _amount(one.amount, one.counted)}
            for one in affected.held
        ],
    }


def recall_table(report: RecallReport) -> SavedTable:
    """A row for each lot and customer that has some of it; a row for a lot that no customer has."""
    return SavedTable(name=f"{report.recall.code}-recall", heads=HEADS, rows=_rows(report))


def _rows(report: RecallReport) -> Iterator[tuple[Cell, ...]]:
    shipped: dict[str, list[Shipped]] = defaultdict(list)
    for share in report.affected.customers:
        for one in share.shipped:
            shipped[one.lot].append(one)
    for lot in report.affected.trace.lots:
        unit = _unit(lot.counted)
        known = (
            str(lot.level), lot.code, lot.material_name, lot.state, lot.received_on,
            format_amount(lot.received_amount, unit), format_amount(lot.on_hand, unit), unit,
            lot.document, lot.supplier, lot.supplier_lot,
        )  # fmt: skip
        for one in shipped.get(lot.code, ()):
            amount = format_amount(one.amount, _unit(one.counted))
            yield (
                *known, one.customer, one.shipment, one.reference, one.shipped_on, amount,
                _unit(one.counted),
            )  # fmt: skip
        if lot.code not in shipped:
            yield (*known, "", "", "", "", "", "")


def _facts(report: RecallReport, start: TracedLot) -> list[list[str]]:
    recall, affected = report.recall, report.affected
    on_hand = sum(1 for lot in affected.trace.lots if lot.on_hand)
    still_out = sum(affected.still_out.values())
    return [
        ["Recalled on", timezone.localtime(recall.opened_at).strftime("%Y-%m-%d %H:%M")],
        ["By", recall.by.get_username() if recall.by else "-"],
        ["Supplier", start.supplier or "-"],
        ["Supplier's lot", start.supplier_lot or "-"],
        ["Came from", start.document or "-"],
        ["Lots affected", str(len(affected.trace.lots))],
        ["Of these with stock", str(on_hand)],
        ["Customers", str(len(affected.customers))],
        ["Still with customers", f"{still_out} pieces" if still_out else "nothing"],
    ]


def _lifted(report: RecallReport) -> str:
    recall = report.recall
    if recall.lifted_at is None:
        return ""
    day = timezone.localtime(recall.lifted_at).strftime("%Y-%m-%d %H:%M")
    return f"Lifted on {day}: {recall.lifted_reason}"


def _reach(report: RecallReport, share: CustomerShare) -> str:
    """How a customer is reached, or that nothing of it is kept."""
    contacts = dict.fromkeys(report.contacts.get(one.shipment) for one in share.shipped)
    known = [each for each in contacts if each is not None and each.is_known]
    if not known:
        return "No telephone, e-mail or address is kept."
    return "; ".join(
        ", ".join(filter(None, (each.person, each.phone, each.email, _one_line(each.address))))
        for each in known
    )


def _one_line(address: str) -> str:
    return ", ".join(line.strip() for line in address.splitlines() if line.strip())


def _shipped(one: Shipped) -> dict[str, str]:
    return {
        "lot": one.lot,
        "material": one.material_name,
        "amount": _amount(one.amount, one.counted),
        "shipment": one.shipment,
        "reference": one.reference,
        "on": one.shipped_on.isoformat(),
    }


def _lot(lot: TracedLot) -> dict[str, str]:
    return {
        "level": str(lot.level),
        "lot": lot.code,
        "material": lot.material_name,
        "state": lot.state,
        "document": lot.document,
        "made": _amount(lot.received_amount, lot.counted),
        "on_hand": _amount(lot.on_hand, lot.counted) if lot.on_hand else "",
    }


def _unit(counted: bool) -> str:
    return "each" if counted else "g"


def _amount(amount: int, counted: bool) -> str:
    return f"{format_amount(amount, _unit(counted))} {'pc' if counted else 'g'}"
