"""What the certificates and labels of lots state."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from inventory.domain.catalog.unusual import Unusual, unusual
from inventory.domain.stock.leaves import leaf_of
from inventory.models.stock.lots import CertificateConfirmation, Lot
from studio.foundation.errors import NotFound

#: Lot (id), code and value of what was confirmed.
Confirmed = frozenset[tuple[int, str, Decimal]]


@dataclass(frozen=True, slots=True, kw_only=True)
class LotLabel:
    """What is written on the container of a lot. `amount` in stock units as it came in."""

    code: str
    material: str
    inci_name: str
    kind: str
    alkali: str
    unit: str
    amount: int
    supplier: str
    supplier_lot: str
    received_on: date
    best_before: date | None
    state: str


def unusual_values(
    lot: Lot,
) -> list[tuple[Unusual, CertificateConfirmation | None]]:
    """What a lot's certificate states that is unusual, each with who confirmed it, if anybody did.
    One query with its people, none where all is usual.
    """
    found = unusual(lot.certificate, lot.material)
    if not found:
        return []
    kept = {(row.code, row.value): row for row in lot.confirmations.select_related("by")}
    return [(each, kept.get((each.code, each.value))) for each in found]


def confirmed_lots(*lots: int) -> Confirmed:
    """What was confirmed of the certificates of some lots (ids), or of all. One query."""
    rows = CertificateConfirmation.objects.order_by()
    found = rows.filter(lot__in=lots) if lots else rows
    return frozenset(found.values_list("lot", "code", "value"))


def is_confirmed(lot: Lot, kept: Confirmed) -> bool:
    """Whether its certificate states something unusual, all of which somebody confirmed."""
    found = {(lot.pk, each.code, each.value) for each in unusual(lot.certificate, lot.material)}
    return bool(found) and found <= kept


def lot_label(code: str) -> LotLabel:
    """What stands on the label of a lot. One query. Raises NotFound."""
    lot = Lot.objects.select_related("material", "supplier").filter(code=code).first()
    if lot is None:
        raise NotFound(f"There is no lot {code}.", field="lot")
    return LotLabel(
        code=lot.code,
        material=lot.material.name,
        inci_name=lot.material.inci_name,
        kind=lot.material.kind,
        alkali=leaf_of(lot.material).alkali,
        unit=lot.material.stock_unit,
        amount=lot.received_amount,
        supplier=lot.supplier.name if lot.supplier else "",
        supplier_lot=lot.supplier_lot,
        received_on=lot.received_on,
        best_before=lot.best_before,
        state=lot.state,
    )
