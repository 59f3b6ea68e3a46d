"""Why soap may not be released by hand: it is unsafe as it was poured, or it is still curing."""

from typing import TYPE_CHECKING, Any

from django.db.models import Q

from inventory.domain.stock.lots import LotStatus
from inventory.errors import LotHeld
from inventory.queries.stock.lots import went_into
from recipes.domain.bench.as_made import judged
from recipes.models.bench.batches import Batch, BatchState
from recipes.services.bench.held_safety import soap_rows
from recipes.services.bench.remaking import lot_values, scaled_from

if TYPE_CHECKING:
    from inventory.models.stock.lots import Lot


def refuse_held_soap(*, lot: "Lot", to: LotStatus, **_: Any) -> None:
    """Receiver of `inventory.services.events.hold_lifting`. Raises LotHeld."""
    its_lot = Q(poured_lot=lot) | Q(bar_lot=lot) | Q(cut_record__ends_lot=lot)
    batch = Batch.objects.filter(its_lot).select_related("version").first()
    if batch is None:
        return
    if lot.status == LotStatus.BLOCKED.value and (unsafe := _unsafe(batch)):
        raise LotHeld(
            f"Lot {lot.code} was made by batch {batch.code}, which is not safe. {unsafe} Write the "
            "lot off; or, if a value was entered wrongly, correct it on the certificate of the lot "
            "that went in and release this one then.",
            field="lot",
            details={"batch": batch.code},
        )
    if to is LotStatus.RELEASED and batch.bar_lot == lot and batch.state == BatchState.CUT:
        raise LotHeld(
            f"The bars of batch {batch.code} are curing until {batch.cure_ready_on}: finish the "
            "cure of the batch, which releases them. If they are blocked, put them in quarantine "
            "first.",
            field="lot",
            details={"batch": batch.code},
        )


def _unsafe(batch: Batch) -> str:
    """What is wrong with the soap by what is known of its lots today; empty when nothing is.

    Judged anew, so that a certificate that came or was corrected after the pour counts.
    """
    if not batch.fats or batch.poured_lot is None:
        return ""
    lines = batch.lines.select_related("material", "formula_line").order_by("position")
    rows = soap_rows(lines)
    takes = went_into(batch.poured_lot)
    amounts = {row.position: row.actual or 0 for row in rows}
    return judged(scaled_from(batch, rows), lot_values(rows, takes, amounts))[1]
