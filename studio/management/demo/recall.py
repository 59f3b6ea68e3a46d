"""A fragrance lot is recalled: which bars hold it, who has them, and all of it on paper."""

from datetime import date, timedelta
from pathlib import Path

from django.conf import settings

from inventory.paper.recall import REPORT, recall_values
from inventory.queries.shipping.recall import RecallReport, recall_report
from inventory.queries.shipping.shipments import find_shipment
from inventory.queries.stock.lots import find_lot
from inventory.services.shipping.recall import lift_recall, recall_lot
from inventory.services.shipping.shipments import Shipping, ToShip, ship
from recipes.domain.labels.grid import LabelGrid
from recipes.paper.labels import bar_label_words, label_sheet
from recipes.paper.sheet import SHEET, paper_values
from recipes.services.bench.sheets import sheet_of
from recipes.services.labels.labels import LabelWish, bar_label
from studio.foundation.paper.rendering import render_pdf, usual_paper
from studio.management.demo.production import BATCH
from studio.management.demo.tables import Printer, amount

SCENT, SCENT_LOT = "lavender-oil", "LV-207"
BARS = "calendula-garden-bar"
SHOPS = (("Corner Shop (invented)", "CS-118", 6), ("Harbor Market (invented)", "HM-7", 4))
REASON = "The supplier corrected the certificate (invented)"
PAPERS = "demo-papers"


def recall_and_print(printer: Printer, today: date) -> None:
    """Ship some bars, recall the fragrance lot, list bars and customers, lift it, print papers."""
    printer.step(
        "Recall a fragrance lot",
        "Which bars hold it, and who has them? One call holds the lot and all that was made of it; "
        "when the supplier has cleared it, another lifts that, and nothing else that holds a lot.",
    )
    for customer, order, bars in SHOPS:
        if find_shipment(customer=customer, reference=order) is None:
            line = ToShip(amount=bars, material=BARS)
            shipped_on = today - timedelta(days=4)
            ship(
                Shipping(
                    customer_name=customer, reference=order, shipped_on=shipped_on, lines=[line]
                )
            )
    report = _recalled()
    _show(printer, report)
    folder = _print(report)
    printer.say(f"On paper: batch sheet, labels and recall report in {folder}")


def _recalled() -> RecallReport:
    lot = find_lot(material=SCENT, supplier_lot=SCENT_LOT)
    code = next((recall.code for recall in lot.recalls.all()), None)
    if code is None:
        code = recall_lot(lot.code, REASON).code
        lift_recall(code, "Cleared by the supplier (invented)")
    return recall_report(code)


def _show(printer: Printer, report: RecallReport) -> None:
    trace = report.affected.trace
    printer.table(
        [">Level", "Lot", "Material", ">Made", ">On hand", "From"],
        (
            (
                str(lot.level),
                lot.code,
                lot.material_name,
                amount(lot.received_amount, "each" if lot.counted else "g"),
                amount(lot.on_hand, "each" if lot.counted else "g"),
                lot.document,
            )
            for lot in trace.lots
        ),
        title=f"{report.recall.code}: {trace.start.material_name}, lot {trace.start.code}",
    )
    printer.table(
        ["Customer", "Their order", "Lot", ">Has", "Shipped on"],
        (
            (share.customer, one.reference, one.lot, f"{one.amount} bars", str(one.shipped_on))
            for share in report.affected.customers
            for one in share.shipped
        ),
    )


def _print(report: RecallReport) -> Path:
    folder: Path = settings.VAR_DIR / PAPERS
    folder.mkdir(exist_ok=True)
    paper = usual_paper()
    label = bar_label_words(bar_label(BATCH, LabelWish()))
    pages = {
        "batch-sheet": render_pdf(SHEET, paper_values(sheet_of(BATCH), code=""), paper=paper),
        "bar-labels": label_sheet(label, LabelGrid(paper=paper), count=9, paper=paper),
        "recall": render_pdf(REPORT, recall_values(report), paper=paper),
    }
    for name, page in pages.items():
        (folder / f"{name}.pdf").write_bytes(page)
    return folder
