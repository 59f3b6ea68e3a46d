"""Returns: what comes back of a shipment, by counter-entries; nothing of it is edited."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from django.db import transaction
from django.db.models import Sum
from django.dispatch import Signal

from inventory.domain.stock.ledger import Change, Verb
from inventory.errors import ShipmentRefusal
from inventory.models.shipping.shipments import Shipment, ShipmentLine, ShipmentReturn
from inventory.services.days import take_day_outside
from inventory.services.stock.ledger import Origin, post
from inventory.services.stock.locks import lock_lots
from studio.foundation.doers import By
from studio.foundation.errors import Faults, NotFound
from studio.foundation.money import share

REASON_LENGTH = 200

#: Something of a shipment came back; the shipment and its lots are locked. Receivers run in the
#: same transaction.
#: Arguments: shipment, returns (saved rows of ShipmentReturn), mark (the caller's own), by.
bars_returned = Signal()


@dataclass(frozen=True, slots=True, kw_only=True)
class Returning:
    """What came back: pieces by lot code, or all that is still out when `lots` is None.

    `mark` is told again to those who listen to `bars_returned`, so that they know their own return.
    """

    returned_on: date
    reason: str
    lots: Mapping[str, int] | None = None
    mark: str = ""


@dataclass(frozen=True, slots=True)
class _Out:
    """A shipped line with what of it is still out, and the cost that is out with it."""

    line: ShipmentLine
    amount: int
    cost: int


@transaction.atomic
def return_shipment(code: str, returning: Returning, *, by: By = None) -> list[ShipmentReturn]:
    """Take back bars into their lots with the cost that left with them, by new entries.

    The last of a line brings back what is left of its cost, so that a whole return undoes the
    shipment exactly. The lots keep their holds. Raises ShipmentRefusal with every fault, NotFound.
    """
    shipment = _locked_shipment(code)
    out = _outstanding(shipment)
    amounts = _checked(shipment, out, returning)
    coming = [out[code] for code in out if code in amounts]
    lots = lock_lots(one.line.lot_id for one in coming)
    returns = [
        ShipmentReturn(
            line=one.line,
            returned_on=returning.returned_on,
            amount=amounts[one.line.lot.code],
            cost=share(one.cost, amounts[one.line.lot.code], one.amount),
            reason=returning.reason.strip(),
            by=by,
        )
        for one in coming
    ]
    changes = [
        (back.line.lot_id, Change(Verb.RETURN, on_hand=back.amount, cost=back.cost))
        for back in returns
    ]
    posting = post(changes, lots=lots, origin=_origin(shipment, returning, by))
    for back in returns:
        back.posting = posting
    ShipmentReturn.objects.bulk_create(returns)
    bars_returned.send(
        sender=ShipmentReturn, shipment=shipment, returns=returns, mark=returning.mark, by=by
    )
    return returns


def _origin(shipment: Shipment, returning: Returning, by: By) -> Origin:
    return Origin(
        reference=shipment.document,
        by=by,
        note=returning.reason.strip(),
        on=returning.returned_on,
        day_field="returned_on",
    )


def _outstanding(shipment: Shipment) -> dict[str, _Out]:
    """The lines by lot code, with what did not come back yet. One query."""
    lines = (
        shipment.lines.select_related("lot")
        .annotate(back=Sum("returns__amount", default=0), back_cost=Sum("returns__cost", default=0))
        .order_by("lot_id")
    )
    return {
        line.lot.code: _Out(line, line.amount - line.back, line.cost - line.back_cost)
        for line in lines
    }


def _checked(shipment: Shipment, out: Mapping[str, _Out], returning: Returning) -> dict[str, int]:
    """What comes back by lot code, above zero, or a refusal with every fault."""
    faults = Faults()
    reason = returning.reason.strip()
    if not 1 <= len(reason) <= REASON_LENGTH:
        faults.add("reason-missing", f"Say why, in 1 to {REASON_LENGTH} characters.", "reason")
    if returning.returned_on < shipment.shipped_on:
        faults.add("before-shipment", f"It was shipped on {shipment.shipped_on}.", "returned_on")
    take_day_outside(faults, "A return", returning.returned_on, "returned_on")
    amounts = {code: one.amount for code, one in out.items() if one.amount}
    if returning.lots is not None:
        amounts = dict(returning.lots)
    if not amounts:
        faults.add("nothing-returned", "Nothing of this shipment is to come back.", "lots")
    for code, amount in amounts.items():
        if code not in out:
            faults.add("not-shipped", f"Nothing of lot {code} was shipped.", f"lots.{code}")
        elif not 0 < amount <= out[code].amount:
            faults.add(
                "not-out",
                f"{out[code].amount} of lot {code} is still out.",
                f"lots.{code}",
                out=out[code].amount,
            )
    faults.raise_if_any(ShipmentRefusal)
    return amounts


def _locked_shipment(code: str) -> Shipment:
    try:
        return Shipment.objects.select_for_update().get(code=code)
    except Shipment.DoesNotExist:
        raise NotFound(f"There is no shipment {code}.", field="shipment") from None
