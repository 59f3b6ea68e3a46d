"""What the ledger says of a document."""

from dataclasses import dataclass

from inventory.domain.ledger import Verb
from inventory.models import StockEntry


@dataclass(frozen=True, slots=True)
class Take:
    """What was consumed of one lot for a document: stock units, with the cost that went along."""

    lot_id: int
    lot_code: str
    material_id: int
    material_code: str
    material_name: str
    unit: str
    amount: int
    cost: int


def takes_for(reference: str) -> list[Take]:
    """What was consumed for a document ("batch:B-00012"), lot by lot. One query."""
    entries = (
        StockEntry.objects.filter(reference=reference, verb=Verb.CONSUME.value)
        .select_related("lot__material")
        .order_by("id")
    )
    return [
        Take(
            lot_id=entry.lot_id,
            lot_code=entry.lot.code,
            material_id=entry.lot.material_id,
            material_code=entry.lot.material.code,
            material_name=entry.lot.material.name,
            unit=entry.lot.material.stock_unit,
            amount=-entry.on_hand,
            cost=-entry.cost,
        )
        for entry in entries
    ]
