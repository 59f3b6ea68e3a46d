"""What the certificates and labels of lots state."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from inventory.domain.catalog.materials import MADE_HERE, MaterialKind
from inventory.domain.catalog.unusual import Unusual, unusual
from inventory.domain.stock.contradictions import contradictions
from inventory.domain.stock.leaves import leaf_of
from inventory.models.stock.lots import CertificateConfirmation, Lot
from inventory.queries.stock.contents import contents_by_parts
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


def unusual_of(lot: Lot) -> tuple[Unusual, ...]:
    """What a lot's certificate states that is not usual, or contradicts what went into it.

    As it is read or set, saved or not. Two queries where it was made here and states a strength or
    a saponification value, else none.
    """
    return unusual_of_lots([lot], {lot.material_id: lot.material})[lot.pk]


def unusual_of_lots(
    lots: Iterable[Lot], materials: Mapping[int, Any]
) -> dict[int, tuple[Unusual, ...]]:
    """The same of some lots by their ids, with their materials by id; two queries at most."""
    read = {lot.pk: lot for lot in lots}
    parts = contents_by_parts(
        pk for pk, lot in read.items() if _goes_before_parts(lot, materials[lot.material_id])
    )
    found = {}
    for pk, lot in read.items():
        material = materials[lot.material_id]
        found[pk] = unusual(lot.certificate, material)
        if pk in parts:
            alkali = leaf_of(material).alkali
            found[pk] += contradictions(lot.certificate, parts[pk], alkali=alkali)
    return found


def _goes_before_parts(lot: Lot, material: Any) -> bool:
    """Whether something was measured on it that is taken instead of what its parts make."""
    if material.kind not in MADE_HERE or material.kind == MaterialKind.BATTER:
        return False
    own = lot.certificate
    return own.purity is not None or own.sv_mg_koh_g is not None


def unusual_values(
    lot: Lot,
) -> list[tuple[Unusual, CertificateConfirmation | None]]:
    """What a lot's certificate states that is unusual, each with who confirmed it, if anybody did.
    One query with its people, none where all is usual; two more as `unusual_of` asks.
    """
    found = unusual_of(lot)
    if not found:
        return []
    kept = {(row.code, row.value): row for row in lot.confirmations.select_related("by")}
    return [(each, kept.get((each.code, each.value))) for each in found]


def confirmed_lots(*lots: int) -> Confirmed:
    """What was confirmed of the certificates of some lots (ids), or of all. One query."""
    rows = CertificateConfirmation.objects.order_by()
    found = rows.filter(lot__in=lots) if lots else rows
    return frozenset(found.values_list("lot", "code", "value"))


def is_confirmed(lot: Lot, found: Iterable[Unusual], kept: Confirmed) -> bool:
    """Whether its certificate states something unusual, all of which somebody confirmed."""
    stated = {(lot.pk, each.code, each.value) for each in found}
    return bool(stated) and stated <= kept


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
