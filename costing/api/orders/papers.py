"""Orders on paper and for the books: the pick list, and what is to be invoiced."""

from collections.abc import Sequence
from decimal import Decimal
from typing import Any, ClassVar

from django.conf import settings
from rest_framework.request import Request

from costing.paper.pick_list import TEMPLATE, pick_values
from costing.queries.orders.sales import InvoiceRow, invoice_rows, pick_list
from studio.foundation.money import to_decimal
from studio.foundation.paper.codes import qr_svg
from studio.foundation.roles import Capability
from studio.foundation.tables.cells import Cell
from studio.foundation.tables.saved import SavedTable
from studio.web.downloads import Page, PaperView, TableView

INVOICE = (
    "order", "customer", "reference", "shipment", "ship_date", "kind", "product", "quantity",
    "unit_price", "net", "tax", "gross", "currency", "terms", "due_date",
)  # fmt: skip


class PickListPaperView(PaperView):
    """The pick list on paper, with boxes to tick and a code to scan back to the order."""

    rules: ClassVar = {"get": Capability.READ}

    def page(self, **kwargs: Any) -> Page:
        found = pick_list(kwargs["code"])
        values = {**pick_values(found), "code": qr_svg(found.order.code)}
        return Page(template=TEMPLATE, values=values, name=f"{found.order.code}-picks")


class InvoiceTableView(TableView):
    """What is to be invoiced, a row for each line that left, for freight, and for each credit.

    Once all has left and nothing came back, the rows add up to the order's sums.
    """

    rules: ClassVar = {"get": (Capability.READ, Capability.SEE_COSTS)}

    def table(self, request: Request, **kwargs: Any) -> SavedTable:
        rows = invoice_rows(kwargs["code"])
        return SavedTable(
            name=f"{kwargs['code']}-invoice",
            heads=INVOICE,
            rows=[_cells(row) for row in rows],
        )


def _cells(row: InvoiceRow) -> Sequence[Cell]:
    return (
        row.order,
        row.customer,
        row.reference,
        row.shipment,
        row.day,
        row.kind,
        row.product,
        Decimal(row.quantity),
        None if row.price is None else to_decimal(row.price),
        to_decimal(row.net),
        to_decimal(row.tax),
        to_decimal(row.gross),
        settings.STUDIO_CURRENCY,
        row.terms,
        row.due_on,
    )
